"""Core records to pictures. PDF points and pixels exist only in here."""
