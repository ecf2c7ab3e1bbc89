"""Whether hard rules of a day can hold, asked of OR-Tools CP-SAT: an independent peer of `holding.can_hold`.

Every pilot has one channel (with "channel" kept; else one a round) and, in every round that the question as it
stands lets them fly in, one heat. Of the rules only those named count. Without "heats" every round has as many
heats more at its end as there are pilots.
"""

import itertools

from ortools.sat.python import cp_model


def there(pilot, number):
    return (pilot.after is None or number > pilot.after) and (pilot.before is None or number < pilot.before)


def heats_a_round(day):
    return 1 if day.one_heat else max(1, -(-len(day.pilots) // day.aircraft))


def rounds_in(day):
    return 1 if day.one_heat else day.rounds


def can_hold(day, rules):
    kept = {(rule.kind, rule.rows, rule.number) for rule in rules}
    if day.heats_given is not None:
        return _Model(day, kept).of_given_heats()
    return not _is_somebody_shut_out(day, kept) and _Model(day, kept).of_rounds()


def _is_somebody_shut_out(day, kept):
    last = heats_a_round(day) * rounds_in(day)
    for row, pilot in enumerate(day.pilots):
        after = pilot.after if pilot.after is not None and ("after", (row,), 0) in kept else 0
        before = pilot.before if pilot.before is not None and ("before", (row,), 0) in kept else 10**6
        end = last if ("heats", (), 0) in kept else 10**6
        if not any(after < number < before for number in (*range(1, last + 1), min(end, 10**6 - 1))):
            return True
    return False


class _Model:
    def __init__(self, day, kept):
        self.day, self.kept, self.model = day, kept, cp_model.CpModel()
        self.channels = {}

    def of_rounds(self):
        day, first = self.day, 1
        for number in range(1, rounds_in(day) + 1):
            numbers = list(range(first, first + heats_a_round(day)))
            self._round(number, numbers)
            first = numbers[-1] + 1
        return self._solved()

    def _round(self, number, numbers):
        day, kept = self.day, self.kept
        flying = [row for row, pilot in enumerate(day.pilots) if any(there(pilot, one) for one in numbers)]
        more = (
            []
            if ("heats", (), 0) in kept
            else [numbers[-1] + (one + 1) / 100 for one in range(len(day.pilots))]
        )
        seat = {(row, heat): self.model.new_bool_var("") for row in flying for heat in (*numbers, *more)}
        for row in flying:
            self._channel(row, number)
            self.model.add_exactly_one(seat[row, heat] for heat in (*numbers, *more))
            for heat in (*numbers, *more):
                if not self._may_fly(row, heat, numbers):
                    self.model.add(seat[row, heat] == 0)
        for heat in (*numbers, *more):
            if ("capacity", (), 0) in kept:
                self.model.add(sum(seat[row, heat] for row in flying) <= day.aircraft)
            for x, y in itertools.combinations(flying, 2):
                both = [seat[x, heat], seat[y, heat]]
                if ("apart", (x, y), 0) in kept:
                    self.model.add(sum(both) <= 1)
                if ("together", (x, y), 0) in kept:
                    self.model.add(both[0] == both[1])
                self._space(x, y, number, both)

    def _may_fly(self, row, heat, numbers):
        pilot = self.day.pilots[row]
        if pilot.heat in numbers and ("heat", (row,), 0) in self.kept and heat != pilot.heat:
            return False
        is_early = pilot.after is not None and heat <= pilot.after and ("after", (row,), 0) in self.kept
        is_late = pilot.before is not None and heat >= pilot.before and ("before", (row,), 0) in self.kept
        return not is_early and not is_late

    def of_given_heats(self):
        index = {pilot.callsign: row for row, pilot in enumerate(self.day.pilots)}
        for number, names in enumerate(self.day.heats_given, start=1):
            rows = sorted(index[name] for name in names)
            if not any(kind == "given" and own == number for kind, _, own in self.kept):
                continue
            for x, y in itertools.combinations(rows, 2):
                if ("apart", (x, y), 0) in self.kept:
                    return False
                self._space(x, y, number, [])
            for row in rows:
                self._channel(row, number)
        return self._solved()

    def _space(self, x, y, number, both):
        if ("spacing", (), 0) not in self.kept:
            return
        for one, x_takes in self._channel(x, number).items():
            for other, y_takes in self._channel(y, number).items():
                if abs(one - other) < self.day.minimum_spacing_mhz:
                    self.model.add_bool_or(~literal for literal in (x_takes, y_takes, *both))

    def _channel(self, row, number):
        """Literals by MHz, exactly one of which is true; none for a pilot who may have any."""
        key = row if ("channel", (), 0) in self.kept else (row, number)
        if key not in self.channels:
            left = self._choices(row)
            self.channels[key] = {mhz: self.model.new_bool_var("") for mhz in left or ()}
            if left is not None:
                self.model.add_exactly_one(self.channels[key].values())
        return self.channels[key]

    def _choices(self, row):
        pilot = self.day.pilots[row]
        sets = []
        if ("tunes", (row,), 0) in self.kept:
            sets.append(set(pilot.channels_mhz))
        if ("pin", (row,), 0) in self.kept:
            sets.append(set(pilot.pin_mhz))
        if not sets:
            return None
        return {mhz for mhz in set.intersection(*sets) if ("ban", (), mhz) not in self.kept}

    def _solved(self):
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(self.model)
        assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
        return status == cp_model.OPTIMAL
