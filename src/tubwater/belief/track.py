"""Following a tub from reading to reading: roll on, temper, move, and hand over to the next window.

State of the method: a cloud of members, each with the plain numbers of its tub at the window's anchor, the
normal numbers of everything unseen since, and the water they lead to. A reading tempers the cloud; moves
re-live the window, so that what an old reading said of the tub is never lost; now and then the window is
closed and what it taught is kept as a normal distribution.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.anchor import Anchor, carried, filled, first, whitened
from tubwater.belief.change import Change, shifts
from tubwater.belief.history import Happening, Slot, stream
from tubwater.belief.life import Moment, jump_edge, passed
from tubwater.belief.prior import Prior
from tubwater.belief.products import Products
from tubwater.belief.readings import suspects, told
from tubwater.belief.sampler import SamplerInfo, defended, drawn, log_mean, rise, stirred
from tubwater.belief.surrogate import Surrogate, fitted, walked
from tubwater.belief.window import Window, lasting_names, mapped
from tubwater.tub import Filled, Tested

__all__ = ["Track", "begun", "following", "is_update", "prepared", "rolled"]

Array = NDArray[np.float64]
_WINDOW = timedelta(days=30)  # judgement: longer windows move too rarely, shorter ones forget explanations
_MOST_RUNGS = 40
_NONE: Array = np.zeros(0)
_LESSONS, _WIDE = 4, 0.4
_MOST_NOTICED = 12
_DEFENDED = 2  # half weeks of drift before a reading that jumps are put among
_Lesson = tuple[Array, tuple[Array, ...]]
_ENOUGH, _MOST_EXTRA = 0.8, 4  # share of members that must have moved, and moves tried for it at the end
_SHORT = 4  # happenings up to which a window is cheap to re-live and gets more moves


@dataclass(frozen=True, eq=False)
class Track:
    """What is known after happening ``done`` - 1.

    Attributes:
        anchor, first, extras: of the window. z: (rows, N). noise: of the window, (rows, N).
        rows: the true values behind each of its updates. now: the members at the last happening.
        suspects: quantities whose newest readings do not fit. info: how the last update went.
        noticed: changes that were told when a window closed, the newest last.
    """

    anchor: Anchor
    first: int
    extras: tuple[str, ...]
    done: int
    z: Array
    noise: Array
    rows: tuple[Array, ...]
    now: Moment
    suspects: tuple[str, ...] = ()
    info: SamplerInfo | None = None
    noticed: tuple[Change, ...] = ()

    @property
    def members(self) -> int:
        """Members."""
        return int(self.z.shape[1])


@dataclass(frozen=True, eq=False)
class _Cloud:
    """Members under tempering.

    ``start`` and ``now`` are the moments before and after the ``fresh`` noise; ``rows`` and ``newest`` the true values
    behind the window's updates, ``score`` and ``last`` log P of them.
    """

    z: Array
    noise: Array
    fresh: Array
    rows: tuple[Array, ...]
    newest: Array
    score: Array
    last: Array
    start: Moment
    now: Moment


def is_update(happening: Happening) -> bool:
    """Whether something is learned from it."""
    return isinstance(happening.what, Tested | Filled)


def begun(prior: Prior, products: Products, line: tuple[Happening, ...], seed: int, members: int) -> Track:
    """The prior at the first happening."""
    head = line[0]
    anchor = first(prior, head.at, isinstance(head.what, Filled))
    z = stream(seed, "tub", "prior").standard_normal((anchor.size, members))
    window = Window(prior, products, line, anchor, 0, ())
    track = Track(anchor, 0, (), 0, z, np.zeros((0, members)), (), window.begin(z))
    return _rounded(track)


def following(track: Track, line: tuple[Happening, ...], index: int, seed: int) -> Track:
    """The track after happening ``index``, which is an update, and all before it."""
    prior, products, update = track.now.prior, track.now.products, line[index].what
    assert isinstance(update, Tested | Filled)
    track, window = _extended(track, line, index + 1, seed)
    hears = not (isinstance(update, Filled) and update.litres is None)
    cloud, weights = _arrived(track, window, index, seed, hears)
    info = track.info
    if hears:
        rng = stream(seed, line[index].identity, "update")
        cloud, info = _tempered(cloud, weights, window, track.done, index, rng)
    moved = replace(
        track,
        done=index + 1,
        z=cloud.z,
        noise=np.concatenate([cloud.noise, cloud.fresh]),
        rows=(*cloud.rows, cloud.newest),
        now=cloud.now,
        info=info,
    )
    if isinstance(update, Filled):
        return _rounded(_refilled(_noted(moved, line), line[index], seed, products, prior))
    moved = replace(moved, suspects=suspects(update, cloud.newest, cloud.now.offsets))
    return _rounded(_handed_over(moved, line))


def _arrived(track: Track, window: Window, index: int, seed: int, defend: bool) -> tuple[_Cloud, Array]:
    """The members at an update, before it is heard, and their log weights."""
    fresh, weights = _noise(window, window.line, track.done, index, seed, track.members), np.zeros(track.members)
    if defend:
        fresh, weights = _defended(fresh, window.line[track.done : index], seed)
    start = replace(track.now, offsets=window.offsets(track.z)).frozen()[1]
    now, newest = window.heard(window.lived(start, fresh, track.done, index)[0], index)
    bare = _Cloud(track.z, track.noise, fresh, track.rows, newest, _NONE, _NONE, start, now)
    return _told(bare, window, index), weights


def _defended(noise: Array, line: tuple[Happening, ...], seed: int) -> tuple[Array, Array]:
    """Jumps put among the drift of the newest weeks, and the log weights that make up for them."""
    ends = np.cumsum([h.draws for h in line])
    weights, found = np.zeros(noise.shape[1]), noise.copy()
    drift = [i for i, h in enumerate(line) if h.what is Slot.DRIFT]
    for i in drift[-_DEFENDED:]:
        rows = slice(ends[i] - line[i].draws, ends[i])
        found[rows], log_weights = defended(noise[rows], jump_edge(), stream(seed, line[i].identity, "jump"))
        weights = weights + log_weights
    return found, weights


def _told(cloud: _Cloud, window: Window, index: int) -> _Cloud:
    """With the likelihoods that follow from its rows."""
    *before, newest = window.updates(index + 1)
    offsets = window.offsets(cloud.z)
    score = np.zeros(cloud.z.shape[1])
    for update, rows in zip(before, cloud.rows, strict=True):
        score += told(update, rows, offsets)
    return replace(cloud, score=score, last=told(newest, cloud.newest, offsets))


def rolled(track: Track, line: tuple[Happening, ...], seed: int) -> tuple[Moment, Array]:
    """The members after all further happenings, none of which is an update, and the noise of the window."""
    track, window, noise = prepared(track, line, len(line), seed)
    start = replace(track.now, offsets=window.offsets(track.z))
    return window.lived(start, noise, track.done, len(line))[0], np.concatenate([track.noise, noise])


def prepared(track: Track, line: tuple[Happening, ...], stop: int, seed: int) -> tuple[Track, Window, Array]:
    """The track with the offsets that come in before ``stop``, its window, and noise for what comes before it."""
    track, window = _extended(track, line, stop, seed)
    return track, window, _noise(window, line, track.done, stop, seed, track.members)


def _extended(track: Track, line: tuple[Happening, ...], stop: int, seed: int) -> tuple[Track, Window]:
    """With the offsets that happenings up to ``stop`` bring in."""
    known = {*track.anchor.lasting, *track.extras}
    new = tuple(name for name in lasting_names(line[track.done : stop]) if name not in known)
    rows = [stream(seed, name, "lasting").standard_normal(track.members) for name in new]
    track = replace(track, extras=track.extras + new, z=np.concatenate([track.z, *(r[None] for r in rows)]))
    window = Window(track.now.prior, track.now.products, line, track.anchor, track.first, track.extras)
    return track, window


def _noise(window: Window, line: tuple[Happening, ...], start: int, stop: int, seed: int, members: int) -> Array:
    blocks = [stream(seed, h.identity, "noise").standard_normal((h.draws, members)) for h in line[start:stop]]
    return np.concatenate([np.zeros((0, members)), *blocks])


def _tempered(
    cloud: _Cloud, weights: Array, window: Window, done: int, index: int, rng: np.random.Generator
) -> tuple[_Cloud, SamplerInfo]:
    """From the cloud before an update to the one after it."""
    beta, rungs, evidence, rates = 0.0, 0, 0.0, []
    touched = np.zeros(cloud.last.size, bool)
    lessons = [_lesson(cloud), _lesson(_wide(cloud, window, done, index, rng))]
    sweeps = 2 if index - window.first <= _SHORT else 1
    while beta < 1.0 and rungs < _MOST_RUNGS:
        up = rise(cloud.last, 1.0 - beta, weights)
        evidence += log_mean(up * cloud.last + weights)
        picked = drawn(up * cloud.last + weights, rng)
        weights = np.zeros(cloud.last.size)
        cloud, touched, beta = _picked(cloud, picked), touched[picked], min(1.0, beta + up)
        for sweep in range(sweeps + (_MOST_EXTRA if beta >= 1.0 else 0)):
            if sweep > sweeps and touched.mean() > _ENOUGH:
                break
            if cloud.fresh.shape[0]:
                cloud = _recent(cloud, window, done, index, beta, rng)
            stand_in = _taught(lessons, cloud, window, index, beta)
            cloud, took, lesson = _whole(cloud, window, done, index, beta, rng, stand_in)
            lessons = [*lessons[-(_LESSONS - 1) :], lesson]
            touched |= took
            rates.append(float(took.mean()))
        rungs += 1
    distinct = np.unique(cloud.z[0]).size / cloud.last.size
    return cloud, SamplerInfo(rungs, float(np.mean(rates)), distinct, float(touched.mean()), evidence)


def _lesson(cloud: _Cloud) -> _Lesson:
    """Plain numbers and the true values that they lead to."""
    return np.concatenate([cloud.z, cloud.noise, cloud.fresh]), (*cloud.rows, cloud.newest)


def _wide(cloud: _Cloud, window: Window, done: int, index: int, rng: np.random.Generator) -> _Cloud:
    """The cloud blown up: a stand-in taught by a narrow cloud alone goes wrong a step away from it."""
    return _relived(stirred(_lesson(cloud)[0], rng, 1.0, _WIDE), cloud, window, done, index)


def _relived(u: Array, cloud: _Cloud, window: Window, done: int, index: int) -> _Cloud:
    """Plain numbers lived through the whole window."""
    lasting, old = cloud.z.shape[0], cloud.noise.shape[0]
    z, noise, fresh = u[:lasting], u[lasting : lasting + old], u[lasting + old :]
    start, earlier = window.lived(window.begin(z), noise, window.first, done)
    start = start.frozen()[1]
    now, newest = window.heard(window.lived(start, fresh, done, index)[0], index)
    return _told(_Cloud(z, noise, fresh, earlier, newest, _NONE, _NONE, start, now), window, index)


def _taught(lessons: list[_Lesson], cloud: _Cloud, window: Window, index: int, beta: float) -> Surrogate:
    """A stand-in from the lessons and the cloud as it is now."""
    whole = [*lessons, _lesson(cloud)]
    u = np.concatenate([one for one, _ in whole], axis=1)
    rows = [np.concatenate(parts, axis=1) for parts in zip(*(rows for _, rows in whole), strict=True)]
    lasting = cloud.z.shape[0]
    feature = partial(window.feature, lasting=lasting, stop=index)
    return fitted(window.updates(index + 1), rows, u, window.offset_map(lasting), beta, feature)


def _recent(cloud: _Cloud, window: Window, done: int, index: int, beta: float, rng: np.random.Generator) -> _Cloud:
    """A move of what happened since the last update only: cheap, for it re-lives only that."""
    fresh = stirred(cloud.fresh, rng, float(rng.choice([0.3, 1.0])), 0.6)
    now, newest = window.heard(window.lived(cloud.start, fresh, done, index)[0], index)
    last = told(window.updates(index + 1)[-1], newest, window.offsets(cloud.z))
    take = np.log(rng.random(last.size)) < beta * (last - cloud.last)
    return _chosen(take, replace(cloud, fresh=fresh, newest=newest, last=last, now=now), cloud)


def _whole(
    cloud: _Cloud, window: Window, done: int, index: int, beta: float, rng: np.random.Generator, stand_in: Surrogate
) -> tuple[_Cloud, NDArray[np.bool_], _Lesson]:
    """A move of the tub and of everything unseen: a walk on the stand-in, and its end lived in full."""
    walk, gain = walked(stand_in, _lesson(cloud)[0], cloud.z.shape[0], rng)
    moved = _relived(walk, cloud, window, done, index)
    ratio = moved.score - cloud.score + beta * (moved.last - cloud.last) - gain
    take = np.log(rng.random(ratio.size)) < ratio
    return _chosen(take, moved, cloud), take, _lesson(moved)


def _picked(cloud: _Cloud, index: Any) -> _Cloud:
    found: _Cloud = mapped(lambda a: a[..., index], cloud)
    return found


def _chosen(take: NDArray[np.bool_], yes: _Cloud, no: _Cloud) -> _Cloud:
    if _acids(yes.start) != _acids(no.start) or _acids(yes.now) != _acids(no.now):
        yes, no = _bare(yes), _bare(no)
    found: _Cloud = mapped(lambda a, b: np.asarray(np.where(take, a, b)), yes, no)
    return found


def _acids(moment: Moment) -> int:
    return -1 if moment.buffer is None else len(moment.buffer.acids)


def _bare(cloud: _Cloud) -> _Cloud:
    return replace(cloud, start=replace(cloud.start, buffer=None), now=replace(cloud.now, buffer=None))


def _noted(track: Track, line: tuple[Happening, ...]) -> Track:
    """With the changes that the window shows as it closes."""
    found = shifts(line[track.first : track.done], track.noise)
    return replace(track, noticed=(*track.noticed, *found)[-_MOST_NOTICED:])


def _handed_over(track: Track, line: tuple[Happening, ...]) -> Track:
    """Close a window that has grown long, and keep what it taught."""
    happening = line[track.done - 1]
    if happening.at - track.anchor.at < _WINDOW:
        return track
    track = _noted(track, line)
    now = track.now
    lasting = (*track.anchor.lasting, *track.extras)
    offsets = np.stack([now.offsets[name] for name in lasting]) if lasting else np.zeros((0, track.members))
    names = now.prior.names[: now.prior.core]
    anchor, z = carried(happening.at, now.core, now.state, lasting, offsets, names)
    return _opened(track, anchor, z)


def _refilled(track: Track, happening: Happening, seed: int, products: Products, prior: Prior) -> Track:
    """A new window from fresh water."""
    noise = stream(seed, happening.identity, "noise").standard_normal((happening.draws, track.members))
    now = passed(track.now, happening, noise)
    lasting = (*track.anchor.lasting, *track.extras)
    offsets = np.stack([now.offsets[name] for name in lasting]) if lasting else np.zeros((0, track.members))
    anchor = filled(happening.at, now.core, lasting, offsets, prior.names[: prior.core])
    z = whitened(anchor, np.concatenate([now.core, offsets]))
    return replace(_opened(track, anchor, z), now=now)


def _opened(track: Track, anchor: Anchor, z: Array) -> Track:
    empty = np.zeros((0, track.members))
    return replace(track, anchor=anchor, first=track.done, extras=(), z=z, noise=empty, rows=())


def _rounded(track: Track) -> Track:
    """In single precision, as it is kept, so that a kept track goes on exactly as one that was not."""
    now = replace(track.now, buffer=None)
    slim = replace(track, now=now, noticed=())
    found: Track = mapped(lambda a: a.astype(np.float32).astype(np.float64), slim)
    core = found.now.core
    now = replace(found.now, rates=now.prior.rates(now.prior.values(core)))
    return replace(found, now=now, noticed=track.noticed)
