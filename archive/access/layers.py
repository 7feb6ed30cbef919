"""The community's own layers of the map, as a viewer may meet them: lines and areas need `open`."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from ..models import Kind, Layer, Level
from . import showing
from .gate import Gate
from .showing import Label

Json = dict[str, Any]


@dataclass(frozen=True)
class LayerShown:
    """`features` counts what can be drawn; it is None where only the description is met."""

    label: Label
    about: str
    rights: str
    features: int | None


def layers(gate: Gate, at_least: Level = Level.DESCRIPTION) -> list[LayerShown]:
    """The layers met, from below."""
    return _shown(gate, gate.numbers(Kind.LAYER, at_least).tolist())


def layer(gate: Gate, row: Layer) -> LayerShown:
    return _shown(gate, [row.pk])[0]


def _shown(gate: Gate, numbers: Iterable[int]) -> list[LayerShown]:
    wanted = gate.keep(numbers)
    named = showing.labels(gate, wanted)
    rows = Layer.ungated.filter(pk__in=wanted).defer("features")
    ordered = sorted(rows, key=lambda row: (row.position, named[row.pk].text.casefold(), row.ref))
    said = gate.mask.text
    return [
        LayerShown(
            named[row.pk],
            said(row.about),
            said(row.rights),
            row.shapes if gate.meets(row.pk) else None,
        )
        for row in ordered
    ]


def collection(gate: Gate, row: Layer) -> Json | None:
    """The layer's FeatureCollection, names at rest replaced; None where it is not met in full."""
    if not gate.meets(row.pk):
        return None
    held: Json = json.loads(row.features)
    for feature in held["features"]:
        feature["properties"] = {
            gate.mask.text(name): gate.mask.text(value) if isinstance(value, str) else value
            for name, value in feature["properties"].items()
        }
    return held
