"""Long work in worker processes: reading art and building PDFs, with progress, cancel, time and memory limits."""
