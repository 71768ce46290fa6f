"""Printers between the store, the core and the API: kept rows as records, both as answers; a phone's reports."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date

from pydantic import BaseModel

from server.core.gauge_sheet import station_points
from server.core.geometry import Point, Rect
from server.core.plan import Flip
from server.core.registration import Drift, Fit, Reading, Wander
from server.core.registration.printer import Confirmation, Printer, check_drift
from server.core.registration.printer_file import printer_from_json, printer_to_json
from server.core.registration.readings import at_point, at_station
from server.core.registration.wander import NEVER_MEASURED
from server.core.sizes import Paper
from server.errors import BadValue, Busy, FitError, NotThere
from server.store.printers import PrinterRow
from server.web import models
from server.web import true_up_models as out


def printer_of(row: PrinterRow) -> Printer:
    """Raises BadValue where the kept profile can't be read."""
    return printer_from_json(dict(row.profile), row.name)


def printer_out(row: PrinterRow, printer: Printer) -> out.PrinterOut:
    margins, page = printer.margins, printer.page
    return out.PrinterOut(
        id=row.id, name=printer.name, revision=row.revision, updated=row.updated, deleted=row.deleted,
        paper=str(printer_to_json(printer)["paper"]), paper_label=printer.paper.label, width_mm=page.width,
        height_mm=page.height, flip=printer.flip, feed=printer.feed,
        margins_mm=out.EdgesOut(left=margins.left, top=margins.top, right=margins.right, bottom=margins.bottom),
        front_scale=out.ScaleOut(x=printer.front_scale[0], y=printer.front_scale[1]), state=printer.state(date.today()),
        trued_up=printer.trued_up.isoformat() if printer.trued_up else None, note=printer.note,
        drift=drift_out(printer.drift, page) if printer.drift else None, wander=wander_out(printer.wander),
        readings=[_reading_out(one) for one in printer.readings],
        sheets=len({one.sheet for one in printer.readings}),
        confirmed=_confirmed_out(printer.confirmed, page) if printer.confirmed else None, own=bool(row.owner))


def readings_from(given: Sequence[out.ReadingIn], paper: Paper) -> tuple[Reading, ...]:
    """Core readings. Raises BadValue where a station isn't on that paper's test sheet, or one was read twice."""
    points = station_points(paper) if any(one.station is not None for one in given) else {}
    readings = tuple(_reading(one, points) for one in given)
    seen: set[tuple[str, object]] = set()
    for one in readings:
        key = one.sheet, one.station if one.station is not None else one.point
        if key in seen:
            raise BadValue(f"readings: {one.name} was read twice.", "Keep one of the two.")
        seen.add(key)
    return readings


def _reading(one: out.ReadingIn, points: dict[int, Point]) -> Reading:
    if one.dx_mm is None and one.dy_mm is None:
        raise BadValue(f"readings: a reading of sheet {one.sheet} holds neither dx nor dy.",
                       "Leave out a station that couldn't be read.")
    if one.station is not None:
        if one.station not in points:
            raise BadValue(f"readings: there is no station {one.station}.",
                           f"Stations of this paper's test sheet are 1 to {max(points)}.")
        return at_station(one.sheet, one.station, points[one.station], one.dx_mm, one.dy_mm)
    if one.x_mm is None or one.y_mm is None:
        raise BadValue(f"readings: a reading of sheet {one.sheet} has no place.", "Give its station, or x and y in mm.")
    return at_point(one.sheet, (one.x_mm, one.y_mm), one.dx_mm, one.dy_mm)


def plain_drift(plain: out.PlainIn, centre: Point) -> Drift:
    return Drift.of(centre, plain.dx_mm, plain.dy_mm, plain.rotation_deg, plain.scale, plain.scale)


def fit_out(fit: Fit, page: Rect) -> out.FitOut:
    """A fit with all that the page draws of it."""
    doubted = {suspect.reading for suspect in fit.suspects}
    residuals = [
        out.ResidualOut(**_reading_out(one.reading).model_dump(), left_dx_mm=one.dx_mm, left_dy_mm=one.dy_mm,
                        suspect=one.reading in doubted)
        for one in fit.residuals]
    suspects = [
        out.SuspectOut(**_reading_out(one.reading).model_dump(), fits_dx_mm=one.fits_dx_mm, fits_dy_mm=one.fits_dy_mm,
                       why=one.why, says=one.says())
        for one in fit.suspects]
    said = {one.says() for one in fit.suspects} | {fit.wander.says()}
    return out.FitOut(
        width_mm=page.width, height_mm=page.height, drift=drift_out(fit.drift, page), model=fit.model,
        rms_mm=fit.rms_mm, sheets=fit.sheets, wander=wander_out(fit.wander), residuals=residuals, suspects=suspects,
        notes=[note for note in fit.notes() if note not in said], trouble=_trouble(fit.drift))


def plain_out(drift: Drift, page: Rect) -> out.FitOut:
    """The same for the plain way, where nothing was fitted."""
    return out.FitOut(
        width_mm=page.width, height_mm=page.height, drift=drift_out(drift, page), model=None, rms_mm=None, sheets=0,
        wander=wander_out(NEVER_MEASURED), residuals=[], suspects=[], notes=[], trouble=_trouble(drift))


def _trouble(drift: Drift) -> out.TroubleOut | None:
    try:
        check_drift(drift)
    except FitError as error:
        return out.TroubleOut(message=error.message, fix=error.fix)
    return None


def drift_out(drift: Drift, page: Rect) -> out.DriftOut:
    m = drift.matrix
    return out.DriftOut(
        dx_mm=drift.dx_mm, dy_mm=drift.dy_mm, rotation_deg=drift.rotation_deg, scale_x=drift.scale_x,
        scale_y=drift.scale_y, squareness_deg=drift.squareness_deg, greatest_mm=drift.greatest_mm(page),
        matrix=(m.a, m.b, m.c, m.d, m.e, m.f), says=drift.says())


def wander_out(wander: Wander) -> out.WanderOut:
    return out.WanderOut(sheets=wander.sheets, sx_mm=wander.sx_mm, sy_mm=wander.sy_mm, radius_mm=wander.radius_mm,
                         share=wander.share, confidence=wander.confidence, says=wander.says())


def _reading_out(reading: Reading) -> out.ReadingOut:
    dx, dy = reading.numbers
    return out.ReadingOut(sheet=reading.sheet, station=reading.station, x_mm=reading.x_mm, y_mm=reading.y_mm,
                          dx_mm=dx, dy_mm=dy)


def _confirmed_out(confirmed: Confirmation, page: Rect) -> out.ConfirmedOut:
    return out.ConfirmedOut(on=confirmed.on.isoformat(), drift=drift_out(confirmed.drift, page),
                            wander=wander_out(confirmed.wander),
                            readings=[_reading_out(one) for one in confirmed.readings])


GOOD_SECONDS = 30 * 60
MOST_SHEETS = 20
_MOST_POSTS = 100


class StationSeen(BaseModel):
    """One station; the numbers are null where it wasn't read, and ``why`` says what to do."""

    station: int
    dx_mm: float | None
    dy_mm: float | None
    sigma_mm: float | None
    read: bool
    why: str | None


class PhotoProblem(BaseModel):
    code: str
    message: str
    fix: str


class SheetOffOut(BaseModel):
    """How far a deck's sheet is off at its middle: what is left over, if it was corrected for a drift. Turn and scale
    are null where too few marks were read."""

    dx_mm: float
    dy_mm: float
    rotation_deg: float | None
    scale: float | None
    says: str


class PhotoRead(BaseModel):
    """What a picture shows of one sheet, and the picture with what was found drawn on it, as a data URL. ``off`` is
    told of a deck's sheet alone."""

    photo: str
    kind: str | None
    stations: list[StationSeen]
    problems: list[PhotoProblem]
    pictures: list[str]
    off: SheetOffOut | None = None


class PhotosRead(models.InMm):
    format: str = "lampfold-photos"
    sheets: list[PhotoRead]


class PostMade(BaseModel):
    """``url`` is what the QR code at ``qr`` holds."""

    id: str
    url: str
    qr: str
    minutes: int


class PostOut(models.InMm):
    """What has come since the number that was asked with; ``next`` is the number to ask with then."""

    format: str = "lampfold-photos-come"
    sheets: list[PhotoRead]
    next: int


@dataclass
class Post:
    """One desk's post: whose it is, the phone's secret, paper and flip, and what has come."""

    owner: str
    secret: str
    paper: str
    flip: Flip
    until: float
    spent: bool = False  # a phone has come
    sheets: list[PhotoRead] = field(default_factory=list)


class Posts:
    """All posts, in memory: they last half an hour and no longer than the server."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._posts: dict[str, Post] = {}

    def make(self, owner: str, paper: str, flip: Flip) -> tuple[str, Post]:
        with self._lock:
            now = self._clock()
            self._posts = {key: post for key, post in self._posts.items() if post.until > now and post.owner != owner}
            if len(self._posts) >= _MOST_POSTS:
                raise Busy("Too many phones are asked for at once.", "Try again in a few minutes.", 60)
            key, post = secrets.token_hex(8), Post(owner, secrets.token_urlsafe(24), paper, flip, now + GOOD_SECONDS)
            self._posts[key] = post
            return key, post

    def get(self, key: str) -> Post:
        """Raises NotThere for a post that has run out."""
        with self._lock:
            post = self._posts.get(key)
            if post is None or post.until <= self._clock():
                raise NotThere("phone: this code has run out.", "Show a new one on the desk's True-up page.")
            return post

    def spend(self, key: str) -> None:
        """A phone comes by this post's code: the only one. Raises NotThere where one has."""
        with self._lock:
            post = self._posts.get(key)
            if post is None or post.spent:
                raise NotThere("phone: this code has let a phone in already.",
                               "Show a new one on the desk's True-up page.")
            post.spent = True

    def by_secret(self, secret: str) -> tuple[str, Post]:
        """Raises NotThere likewise."""
        with self._lock:
            for key, post in self._posts.items():
                if secrets.compare_digest(post.secret.encode(), secret.encode()) and post.until > self._clock():
                    return key, post
        raise NotThere("phone: this code has run out.", "Show a new one on the desk's True-up page.")
