"""Keeping a track, so that a new entry does not live the whole past again.

A checkpoint is a cache: its key is a chain over everything that it rests on (model, facts, tub, seed, members and
every entry before it, a dose with its composition), so that a late or corrected entry simply finds none after it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from functools import cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.anchor import Anchor, Beginning
from tubwater.belief.change import Change, ChangeKind
from tubwater.belief.history import Happening, Slot, chained, digest
from tubwater.belief.life import Moment
from tubwater.belief.prior import Prior
from tubwater.belief.products import Products
from tubwater.belief.sampler import SamplerInfo
from tubwater.belief.track import Track, is_update
from tubwater.chemistry import Water
from tubwater.dynamics import TubState
from tubwater.facts import defaults, interferences, methods, substances
from tubwater.tub import Dosed, Tub

__all__ = ["MODEL", "Checkpoints", "History", "from_bytes", "resumed", "to_bytes"]

Array = NDArray[np.float64]
MODEL = "12"  # raised whenever the same entries would give another belief


class Checkpoints(Protocol):
    """A place that may forget anything at any time."""

    def get(self, key: str) -> bytes | None:
        """What was kept, or None."""
        ...

    def put(self, key: str, value: bytes) -> None:
        """Keep it."""
        ...


class History:
    """The names of all beginnings of a past that end with an update: ``keys`` by the index of the update."""

    def __init__(self, tub: Tub, products: Products, line: tuple[Happening, ...], seed: int, members: int) -> None:
        self.products = products
        tablet = (products.tablet, products.tablet_grams)
        self.keys: dict[int, str] = dict(self._chain(line, digest(MODEL, _facts(), tub, tablet, seed, members)))

    def _chain(self, line: tuple[Happening, ...], name: str) -> Iterator[tuple[int, str]]:
        for index, happening in enumerate(line):
            if not isinstance(happening.what, Slot):
                name = chained(name, happening.identity, self._product(happening))
                if is_update(happening):
                    yield index, name

    def _product(self, happening: Happening) -> Any:
        what = happening.what
        return self.products.compositions.get(what.product) if isinstance(what, Dosed) else ""

    def keep(self, track: Track, index: int, recent: bool, checkpoints: Checkpoints | None) -> None:
        """Keep a track at the beginning of a window and where it is recent."""
        if checkpoints is not None and (recent or track.first == track.done):
            checkpoints.put(self.keys[index], to_bytes(track))


def resumed(history: History, prior: Prior, checkpoints: Checkpoints | None) -> Track | None:
    """The newest track that was kept and still holds."""
    if checkpoints is None:
        return None
    for key in reversed(history.keys.values()):
        kept = checkpoints.get(key)
        track = None if kept is None else from_bytes(kept, prior, history.products)
        if track is not None:
            return track
    return None


@cache
def _facts() -> str:
    """A name for all facts that the belief rests on."""
    return digest(defaults(), methods(), interferences(), substances())


def _arrays(track: Track) -> dict[str, Array]:
    state, anchor = track.now.state, track.anchor
    return {
        "mean": anchor.mean,
        "root": anchor.root,
        "z": track.z,
        "noise": track.noise,
        **{f"rows {i}": rows for i, rows in enumerate(track.rows)},
        "core": track.now.core,
        "temperature": state.water.temperature,
        "totals": state.water.totals,
        "tablet_grams": state.tablet_grams,
        "tablet_count": state.tablet_count,
        "opening": state.opening,
        "ph": state.ph,
    }


def to_bytes(track: Track) -> bytes:
    """A line of JSON that says what follows, then the arrays in single precision."""
    arrays, anchor, info = _arrays(track), track.anchor, track.info
    head = {
        "model": MODEL,
        "anchor": [anchor.at.isoformat(), anchor.beginning.value, anchor.core, anchor.names],
        "first": track.first,
        "extras": track.extras,
        "done": track.done,
        "at": track.now.at.isoformat(),
        "suspects": track.suspects,
        "info": None if info is None else [info.rungs, info.acceptance, info.distinct, info.moved, info.log_evidence],
        "noticed": [[c.kind.value, c.direction, c.probability, c.by.isoformat()] for c in track.noticed],
        "arrays": [[name, a.shape] for name, a in arrays.items()],
    }
    body = b"".join(np.ascontiguousarray(a, dtype="<f4").tobytes() for a in arrays.values())
    return json.dumps(head).encode() + b"\n" + body


def from_bytes(kept: bytes, prior: Prior, products: Products) -> Track | None:
    """The track, or None where it is damaged or of another model."""
    head, _, body = kept.partition(b"\n")
    try:
        said = json.loads(head)
        if said["model"] != MODEL:
            return None
        return _track(said, _read(said["arrays"], body), prior, products)
    except (ValueError, KeyError, TypeError):
        return None


def _read(shapes: list[tuple[str, list[int]]], body: bytes) -> dict[str, Array]:
    flat = np.frombuffer(body, dtype="<f4").astype(np.float64)
    sizes = [int(np.prod(shape)) for _, shape in shapes]
    if sum(sizes) != flat.size:
        raise ValueError("cut short")
    parts = np.split(flat, np.cumsum(sizes)[:-1])
    return {name: part.reshape(shape) for (name, shape), part in zip(shapes, parts, strict=True)}


def _track(said: dict[str, Any], a: dict[str, Array], prior: Prior, products: Products) -> Track:
    at, beginning, core, names = said["anchor"]
    anchor = Anchor(datetime.fromisoformat(at), Beginning(beginning), core, tuple(names), a["mean"], a["root"])
    water = Water(a["temperature"], a["totals"])
    state = TubState(water, a["tablet_grams"], a["tablet_count"], a["opening"], a["ph"])
    now = Moment.of(datetime.fromisoformat(said["at"]), prior, products, a["core"], {}, state)
    info = None if said["info"] is None else SamplerInfo(*said["info"])
    counts = (said["first"], tuple(said["extras"]), said["done"])
    rows = tuple(value for name, value in a.items() if name.startswith("rows "))
    track = Track(anchor, *counts, a["z"], a["noise"], rows, now, tuple(said["suspects"]))
    noticed = tuple(
        Change(ChangeKind(kind), way, p, datetime.fromisoformat(by)) for kind, way, p, by in said["noticed"]
    )
    return replace(track, info=info, noticed=noticed)
