"""The closed box as a picture: its three faces, read back from the SVG, are a cuboid of the box's own measures."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from server.core.settings import DeckSettings
from server.drawing.box import draw_folded
from server.drawing.svg_surface import SvgSurface
from server.intake.folder import read_folder
from server.prepress import prepare
from tests.formats.artwork import encoded, picture, write


@pytest.mark.parametrize("kind", ["tuck", "lid"])
def test_the_faces_of_the_closed_box_meet_and_art_lies_on_them_as_it_is_read(tmp_path: Path, kind: str) -> None:
    write(tmp_path, "fronts/one_x54.png", encoded("PNG", picture(126, 176)))
    found = read_folder(tmp_path)
    settings = DeckSettings().changed({"box": kind, "paper": "a3", "box_panels": "all=fronts/one_x54.png"})
    planned = prepare(found.deck, settings, found.source).planned
    box = planned.box
    assert box
    surface = SvgSurface(lambda art: "x.png")
    draw_folded(surface, planned, box)
    root = ElementTree.fromstring(surface.svg())
    polygons = [np.array([[float(value) for value in point.split(",")] for point in one.attrib["points"].split()])
                for one in root.iter("{http://www.w3.org/2000/svg}polygon")]
    top, side, front = polygons[-3:]  # each from its top-left corner on, clockwise
    wide, high = front[2] - front[0]
    # Square on: a tuck box by its inside, a lid by what it is wider than that, and its walls lower than the base's.
    assert (wide, high) == pytest.approx(box.inside_mm[:2]) if kind == "tuck" else box.inside_mm[0] < wide < high * 10
    assert side[0] == pytest.approx(front[1]) and side[3] == pytest.approx(front[2])  # the crease that they share
    assert top[3] == pytest.approx(front[0]) and top[2] == pytest.approx(front[1])
    assert top[1] == pytest.approx(side[1])  # and the corner at the back closes
    # Where each panel's picture has its own upper edge: at the back of the top, at the upper edge of the walls.
    for image, face in zip(_first_images(root), (top, side, front), strict=True):
        upper = np.linalg.norm(image[:2] - face[:2], axis=1).max()
        assert upper < np.linalg.norm(image[:2] - face[[3, 2]], axis=1).max()


def _first_images(root: ElementTree.Element) -> list[np.ndarray]:
    """Of each face the corners of its last picture, through all the groups that it stands in."""
    faces: dict[int, np.ndarray] = {}

    def walk(node: ElementTree.Element, matrix: np.ndarray, face: int) -> int:
        for child in node:
            own = matrix
            if "transform" in child.attrib:
                a, b, c, d, e, f = (float(value) for value in child.attrib["transform"][7:-1].split())
                own = matrix @ np.array([[a, c, e], [b, d, f], [0, 0, 1]])
            if child.tag.endswith("polygon"):
                face += 1
            if child.tag.endswith("image"):
                faces[face] = np.array([(own @ np.array([x, y, 1]))[:2] for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))])
            face = walk(child, own, face)
        return face

    walk(root, np.eye(3), 0)
    return [faces[face] for face in sorted(faces)]
