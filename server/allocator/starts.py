"""Where the walks over the first round begin: sound rounds, packed places, and the best parting of the gear."""

from collections.abc import Sequence

import numpy as np

from server.allocator.compositions import Kinds
from server.allocator.feasibility import spaced_channels
from server.allocator.heat import best_worst_margin
from server.allocator.heat_order import cheapest_matching
from server.allocator.places import channels_of_places, places_of_day
from server.allocator.round_search import RoundPlan, RoundSearch
from server.allocator.scoring import gear_of

TUNING_NODES = 2_000
"""Search nodes for the channels of one heat."""


def spaced_start(search: RoundSearch, heat_of: Sequence[int]) -> RoundPlan:
    """Any channels that keep the spacing in every heat of a feasible round."""
    channel = np.zeros(search.count, dtype=np.int64)
    for heat in range(search.frame.heats):
        members = [pilot for pilot in range(search.count) if heat_of[pilot] == heat]
        options = [tuple(int(mhz) for mhz in search.gear.mhz[search.usable[pilot]]) for pilot in members]
        spaced = spaced_channels(options, search.problem.minimum_spacing_mhz)
        for place, pilot in enumerate(members):
            mhz = (spaced[place] if spaced is not None else None) or options[place][0]
            channel[pilot] = int(np.searchsorted(search.gear.mhz, mhz))
    return RoundPlan(np.array(heat_of, dtype=np.int64), channel)


def places_start(search: RoundSearch, heat_of: Sequence[int]) -> RoundPlan:
    """Pilots packed into the places of a typical heat, each place dealt over the heats.

    Who fits in no place gets the own channel nearest to one of the places. Pilots who fly together stay where
    they are in a feasible round ``heat_of``.
    """
    choices = [frozenset(search.gear.mhz[own].tolist()) for own in search.usable]
    places = places_of_day(choices, search.frame.largest, search.frame.heats)
    mhz = channels_of_places(search.problem, places, search.powers_mw, search._go_on)
    if not mhz:
        return spaced_start(search, heat_of)
    place_of = {pilot: number for number, place in enumerate(places) for pilot in place.pilots}
    channel = np.empty(search.count, dtype=np.int64)
    for pilot in range(search.count):
        own = np.flatnonzero(search.usable[pilot])
        if pilot in place_of:
            channel[pilot] = np.searchsorted(search.gear.mhz, mhz[place_of[pilot]])
        else:
            away = np.abs(search.gear.mhz[own, np.newaxis] - np.array(mhz)).min(axis=1)
            channel[pilot] = own[away.argmin()]
    dealt = np.array(heat_of, dtype=np.int64)
    in_order = sorted(range(search.count), key=lambda one: (place_of.get(one, len(places)), one))
    for number, pilot in enumerate(in_order):
        if not search.together[pilot].any():
            dealt[pilot] = number % search.frame.heats
    return RoundPlan(dealt, channel)


def parted_start(
    search: RoundSearch,
    parting: Sequence[Sequence[int]],
    kinds: Kinds,
    channel: np.ndarray,
    allowed: np.ndarray,
    enough_db: float,
) -> RoundPlan:
    """Pilots dealt into heats of the compositions of a parting, on given channels (N,).

    parting   compositions by the items of ``kinds``
    allowed   (N, H) heats each pilot may fly in

    Who may fly in the fewest heats comes first, then who can tune least; then channel by channel, so that each
    heat gets one pilot of each where that can be. Heats that this leaves below ``enough_db`` get the best channels
    that they can have by themselves.
    """
    item_of = kinds.item_of
    members = np.array([kinds.content[item].sum() for item in range(len(kinds.counts))])
    left = _in_windows(np.array(parting) * members, item_of, allowed)
    heat_of = np.full(search.count, -1, dtype=np.int64)
    for pilot in _dealing_order(search, item_of, channel, allowed):
        heat_of[pilot] = min(
            np.flatnonzero(allowed[pilot]).tolist(),
            key=lambda heat: _reluctance(search, heat, pilot, heat_of, channel, left, int(item_of[pilot])),
        )
        if item_of[pilot] >= 0:
            left[heat_of[pilot], item_of[pilot]] -= 1
    return _tuned(search, RoundPlan(heat_of, channel.copy()), enough_db)


def _dealing_order(
    search: RoundSearch, item_of: np.ndarray, channel: np.ndarray, allowed: np.ndarray
) -> list[int]:
    """Pilots as they are dealt into heats; who tunes twice the seats of a heat is as free as anybody."""
    tunes = np.minimum(search.usable.sum(axis=1), 2 * search.frame.largest)
    return sorted(
        range(search.count),
        key=lambda one: (allowed[one].sum(), item_of[one] < 0, tunes[one], channel[one], one),
    )


def _in_windows(seats: np.ndarray, item_of: np.ndarray, allowed: np.ndarray) -> np.ndarray:
    """The heats (H, items) in an order that gives seats to those who may not fly in every heat."""
    demand = np.zeros((allowed.shape[1], seats.shape[1]))
    for pilot in np.flatnonzero((item_of >= 0) & ~allowed.all(axis=1)):
        demand[:, item_of[pilot]] += allowed[pilot] / allowed[pilot].sum()
    met = np.minimum(seats[:, np.newaxis, :], demand[np.newaxis]).sum(axis=2)
    ordered = np.zeros_like(seats)
    ordered[cheapest_matching(-met)] = seats
    return ordered


def _tuned(search: RoundSearch, one: RoundPlan, enough_db: float) -> RoundPlan:
    """The best channels for each heat by itself where the given ones do not reach ``enough_db``."""
    for heat in range(search.frame.heats):
        members = np.flatnonzero(one.heat_of == heat)
        away = np.diff(np.sort(search.gear.mhz[one.channel[members]]))
        if (away < search.gear.spacing_mhz).any() or search.heat_margin_db(one, heat) < enough_db:
            own = gear_of(search.gear, members.tolist())._replace(usable=search.usable[members])
            answer = best_worst_margin(own, TUNING_NODES, search.problem.seed, search._go_on)
            if answer.mhz:
                one.channel[members] = np.searchsorted(search.gear.mhz, answer.mhz)
    return one


def _reluctance(
    search: RoundSearch,
    heat: int,
    pilot: int,
    heat_of: np.ndarray,
    channel: np.ndarray,
    left: np.ndarray,
    kind: int,
) -> tuple[int, ...]:
    """Smaller for a heat that the pilot fits better."""
    members = np.flatnonzero(heat_of == heat)
    partners = np.flatnonzero(search.together[pilot] & (heat_of >= 0))
    away = np.abs(search.gear.mhz[channel[members]] - search.gear.mhz[channel[pilot]])
    options = [tuple(search.gear.mhz[search.usable[one]].tolist()) for one in (*members, pilot)]
    fits = spaced_channels(options, search.problem.minimum_spacing_mhz) is not None
    seats = int(left[heat, kind]) if kind >= 0 else search.problem.aircraft - len(members)
    return (
        int(seats <= 0),
        int((heat_of[partners] != heat).sum() + search.apart[pilot, members].sum()) + (not fits),
        int((away < search.gear.spacing_mhz).sum()),
        -seats,
        heat,
    )
