"""Pictures for the screen: art shrunk in a worker, never a file as it came in."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from fastapi.responses import FileResponse
from starlette.concurrency import run_in_threadpool

from server.core.art import Art
from server.errors import NotThere
from server.jobs.queue import Work
from server.jobs.tasks import make_thumb, thumb_path
from server.web import models
from server.web.people import Session
from server.web.receiving import in_worker
from server.web.services import PersonDep, Services, ServicesDep

router = APIRouter(prefix="/api/art", tags=["art"])

_ERRORS: dict[int | str, dict[str, Any]] = {status: {"model": models.ErrorAnswer} for status in (404, 422, 503)}
_SIZES_PX = (128, 256, 512, 1024, 2048)


@router.get("/{key:path}", responses={**_ERRORS, 200: {"content": {"image/webp": {}}}}, response_class=FileResponse)
async def picture(key: Annotated[str, Path(max_length=100)], services: ServicesDep, person: PersonDep,
                  longest: Annotated[int, Query(ge=1, le=4096)] = 512) -> FileResponse:
    """The art as WebP, upright, its longer side the next of 128, 256, 512, 1024 and 2048 pixels that is enough."""
    size = next((size for size in _SIZES_PX if size >= longest), _SIZES_PX[-1])
    art = await run_in_threadpool(_art, services, person, key)
    path = thumb_path(services.store.folder.thumbs, key, size)
    if not path.is_file():
        blob = services.store.blobs.path(key.partition("#")[0])
        arguments = (blob, art, size, services.store.folder.thumbs)
        await in_worker(services, Work("read", person.id, "art", make_thumb, arguments,
                                       services.store.limits.read_seconds))
    # The key names the bytes, so what it shows never changes.
    return FileResponse(path, media_type="image/webp",
                        headers={"Cache-Control": "private, max-age=31536000, immutable"})


def _art(services: Services, person: Session, key: str) -> Art:
    blob = key.partition("#")[0]
    services.store.blobs.path(blob)
    record = services.store.art.get(blob)
    allowed = person.deck_id is None or services.store.decks.points_to(person.deck_id, blob)
    art = next((art for art in record.arts if art.key == key), None) if record and allowed else None
    if art is None:
        raise NotThere("art: no such picture.", "Load the page again.")
    return art
