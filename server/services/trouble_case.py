"""A report with its causes and tests in numbers and words, as it is stored.

Outcomes are weighed against the air as it was reported, whoever has landed since.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict
from functools import cache
from typing import Any

from server.allocator.trouble import Case, Cause, Form, ranked
from server.allocator.trouble_air import Air
from server.allocator.trouble_choice import worth_doing
from server.allocator.trouble_tests import SafeTest
from server.services.margin_words import rounded
from server.services.trouble_test_words import facts_of_test
from server.services.trouble_words import best_change, cause_facts, pits_title

MOST_CAUSES = 12
ON_THE_GROUND = ("landed", "still on")
"""Tests that need nobody in the air."""

Facts = dict[str, Any]


class StoredCase:
    """A case with its words; `of` makes one of the air, `read` of what `text` stored."""

    def __init__(self, callsign: str, case: Case, words: Mapping[str, Facts], tests: Sequence[Facts]) -> None:
        self.callsign, self.case = callsign, case
        self._words, self._tests = words, tests

    @classmethod
    def of(cls, case: Case, air: Air, callsign: str) -> "StoredCase":
        words: dict[str, Facts] = {}
        planned = cache(lambda: best_change(air, callsign))
        for form in case.forms:
            cause = Cause(form.kind, form.who, form.mhz, form.margin_db, 0.0)
            if _key(cause) not in words:
                words[_key(cause)] = cause_facts(cause, air, callsign, planned)
        pits = next((one.who for one in ranked(case, {}) if one.kind == "pits"), ())
        return cls(callsign, case, words, [facts_of_test(one, air, callsign, pits) for one in case.tests])

    @classmethod
    def read(cls, text: str) -> "StoredCase":
        facts = json.loads(text)
        forms = tuple(
            Form(**{**one, "who": tuple(one["who"]), "chances": tuple(map(tuple, one["chances"]))})
            for one in facts["forms"]
        )
        tests = tuple(SafeTest(one["kind"], tuple(one["who"])) for one in facts["tests"])
        case = Case(forms, tests, facts["something_else"])
        return cls(facts["callsign"], case, facts["words"], facts["tests"])

    def text(self) -> str:
        forms = [_short(asdict(form)) for form in self.case.forms]
        facts = {
            "callsign": self.callsign,
            "forms": forms,
            "something_else": self.case.something_else,
            "words": self._words,
            "tests": self._tests,
        }
        return json.dumps(facts, ensure_ascii=False)

    def causes(self, outcomes: Mapping[str, str]) -> list[Facts]:
        """As `trouble_words.cause_facts`, the likeliest first, after these outcomes."""
        return [self._cause(one) for one in ranked(self.case, outcomes)[:MOST_CAUSES]]

    def tests(self, outcomes: Mapping[str, str], up: Collection[str]) -> list[Facts]:
        """As `trouble_test_words.facts_of_test` with a key, the best first, of those that can be done now.

        up  callsigns of who is in the air
        """
        found = [one for one in worth_doing(self.case, outcomes) if self._can_be_done(one, up)]
        return [self.test(one.key) for one in found]

    def test(self, key: str) -> Facts:
        """One test by its key. Raises KeyError for one that the case does not have."""
        by_key = {one.key: facts for one, facts in zip(self.case.tests, self._tests, strict=True)}
        return {"key": key, **by_key[key]}

    def _can_be_done(self, test: SafeTest, up: Collection[str]) -> bool:
        return test.kind in ON_THE_GROUND or {self.callsign, *test.who} <= set(up)

    def _cause(self, cause: Cause) -> Facts:
        facts = {**self._words[_key(cause)], "who": list(cause.who), "chance": round(cause.chance, 3)}
        if cause.kind == "pits":
            facts["title"] = pits_title(cause.who)
        return facts


def _key(cause: Cause) -> str:
    who = cause.who[:1] if cause.kind == "pits" else cause.who
    return " ".join((cause.kind, str(cause.mhz or ""), *who))


def _short(form: Facts) -> Facts:
    """With figures as short as what they are worth."""
    form["margin_db"] = rounded(form["margin_db"])
    form["weight"] = float(f"{form['weight']:.4g}")
    form["chances"] = [[round(chance, 4) for chance in row] for row in form["chances"]]
    return form
