"""The director, who works with pages and buttons, and the desk beside."""

import asyncio
import html
import re
from collections.abc import Awaitable, Callable, Mapping

import httpx

from tests.simulated_day import pages
from tests.simulated_day.pages import Form, Sent, form_to

PLAN_PATIENCE_S = 240
"""The first plan on a machine compiles the search."""
LOOKS, BETWEEN_LOOKS_S = 200, 0.05


class Director:
    def __init__(self, http: httpx.AsyncClient) -> None:
        self._http = http
        self.code = ""
        self.ids: dict[str, str] = {}
        self.overrides: list[str] = []

    # Before the day

    async def open_day(self, name: str, aircraft: int, rounds: int, rules: str) -> None:
        made = await self._post("/days", {"name": name, "date": "2026-05-16", "time_zone": "Europe/Dublin"})
        self.code = made.headers["Location"].split("/")[2]
        form = form_to(await self._page("site"), "/site")
        await self._post(
            form.action, form.fields | {"aircraft": str(aircraft), "rounds": str(rounds), "rules": rules}
        )

    async def check_in(self, line: str) -> str:
        """A pilot by the desk's one line; the address of the pilot's own page."""
        answer = await self._post(self._at("pilots"), {"line": line})
        number = answer.headers["Location"].rpartition("added=")[2].partition("&")[0]
        self.ids[line.split()[0]] = number
        return await self.slot_of(number)

    async def slot_of(self, pilot: str) -> str:
        found = re.search(r"/slot/[\w-]+", await self._page(f"pilots/{pilot}/link"))
        assert found, f"pilot {pilot} has no page"
        return found[0]

    async def find_pilots(self) -> None:
        """The numbers of those who checked in by phone."""
        page = await self._page("line")
        options = page.partition('name="pilot"')[2].partition("</select>")[0]
        for number, callsign in re.findall(r'<option value="(\d+)"[^>]*>([^<]+)<', options):
            self.ids[html.unescape(callsign)] = number

    async def plan(self) -> None:
        await self._post(self._at("plan/compute"), {})
        await self._plan_form("/plan/publish")

    async def publish(self) -> dict[int, list[str]]:
        """Publish what is planned; callsigns by heat, as the file of the plan has them."""
        form = await self._plan_form("/plan/publish")
        await self._post(form.action, form.fields)
        plan = (await self._http.get(self._at("plan.json"))).json()
        return {heat["heat"]: [slot["callsign"] for slot in heat["slots"]] for heat in plan["heats"]}

    async def give_a_place(self, callsign: str) -> None:
        """Somebody arrived late: find a place in the heats ahead, with as many moved as are offered."""
        await self._post(
            self._at("plan/change"),
            {**await self._fields("plan", "/plan/change"), "act": "late", "pilot": self.ids[callsign]},
        )
        await self._plan_form("/plan/change/take")
        rows = [
            one for one in pages.forms_of(await self._page("plan")) if one.action.endswith("/change/take")
        ]
        await self._post(rows[-1].action, rows[-1].fields)

    async def withdraw(self, callsign: str) -> None:
        await self._post(self._at(f"pilots/{self.ids[callsign]}/state"), {"state": "withdrawn"})

    async def find(self, callsign: str) -> None:
        """The transmitter that was lost is found; the plan stays as it is."""
        page = await self._page("plan")
        form = form_to(page, "/plan/change/found")
        await self._post(form.action, form.fields)
        await self._plan_form("/plan/change/close")

    # On the flight line

    async def line(self) -> str:
        return (await self._http.get(self._at("line/state"))).json()["html"]

    async def order_of_next(self) -> list[str]:
        return pages.next_order(await self.line())

    async def call(self, heat: int) -> None:
        """Call the next heat; where something stands against it, in words of the director's."""
        desk = await self.line()
        form = form_to(desk, "/line/call")
        sent = form.fields | {"heats": str(heat)}
        if "override" in form.fields:
            self.overrides.append(f"Heat {heat} flies all the same.")
            sent["override"] = self.overrides[-1]
        await self._post(form.action, sent)

    async def step(self, name: str, **sent: str) -> None:
        """A step of the whole heat: release, land, all-landed, end, stop."""
        form = form_to(await self.line(), f"/line/step/{name}")
        await self._post(form.action, form.fields | sent)

    async def pilot(self, callsign: str, event: str) -> None:
        """A step of one pilot, once the page has it: who left the day comes off the line within seconds."""
        for _ in range(LOOKS):
            desk = await self.line()
            end = f"/slots/{pages.called_rows(desk)[callsign]}/{event}"
            if f'{end}"' in desk:
                break
            await asyncio.sleep(BETWEEN_LOOKS_S)
        form = form_to(desk, end)
        await self._post(form.action, form.fields)

    async def undo(self) -> None:
        form = form_to(await self.line(), "/line/undo")
        await self._post(form.action, form.fields)

    async def walkers(self, are_there: bool) -> None:
        await self._post(self._at("line/walkers"), {"state": "there" if are_there else "gone"})

    async def everybody_land(self, reason: str) -> None:
        await self._post(self._at("line/everybody-land"), {"reason": reason})

    async def lift(self) -> None:
        await self._post(self._at("line/lift"), {})

    async def ask_clearance(self, callsign: str, why: str) -> None:
        await self._post(
            self._at("line/clearances"), {"pilot": self.ids[callsign], "why": why, "place": "pits"}
        )

    async def clearance(self, name: str) -> None:
        """The first on the list of those outside a call: on or off."""
        desk = (await self.line()).partition('aria-label="Outside a call"')[2]
        form = next(one for one in pages.forms_of(desk) if re.search(rf"/clearances/\d+/{name}$", one.action))
        await self._post(form.action, form.fields)

    async def refused(self, path: str, **sent: str) -> str:
        """Press what must be refused; the sentence that says why."""
        answer = await self._http.post(self._at(path), data=sent)
        assert answer.status_code in (409, 422), f"{path} was not refused: {answer.status_code}"
        return pages.notice(answer.text)

    async def seen_call(self) -> str:
        found = re.search(r'data-seen="([^"]*)"', await self.line())
        assert found
        return html.unescape(found[1])

    async def flights(self) -> dict[str, int]:
        return pages.flights(await self.line())

    async def logbook(self) -> str:
        """Every page of it, the newest first."""
        page = await self._page("logbook")
        pages_read = [page]
        while older := re.search(r'rel="next" href="[^"]*/(logbook\?before=\d+)"', page):
            page = await self._page(older[1])
            pages_read.append(page)
        return "".join(pages_read)

    # How it is done

    def _at(self, path: str) -> str:
        return f"/days/{self.code}/{path}"

    async def _page(self, path: str) -> str:
        answer = await self._http.get(self._at(path))
        assert answer.status_code == 200, f"{path}: {answer.status_code}"
        return answer.text

    async def _fields(self, path: str, action_ends: str) -> dict[str, Sent]:
        return form_to(await self._page(path), action_ends).fields

    async def _post(self, path: str, sent: Mapping[str, Sent]) -> httpx.Response:
        answer = await self._http.post(path, data=sent)
        assert answer.status_code == 303, f"{path} {sent}: {answer.status_code}, {pages.notice(answer.text)}"
        return answer

    async def _plan_form(self, action_ends: str) -> Form:
        """The form once the job that was started has ended."""
        return await _until(lambda: self._form_on_plan(action_ends), PLAN_PATIENCE_S)

    async def _form_on_plan(self, action_ends: str) -> Form | None:
        page = await self._page("plan")
        return next((one for one in pages.forms_of(page) if one.action.endswith(action_ends)), None)


async def _until(look: Callable[[], Awaitable[Form | None]], patience_s: float) -> Form:
    deadline = asyncio.get_running_loop().time() + patience_s
    while asyncio.get_running_loop().time() < deadline:
        found = await look()
        if found is not None:
            return found
        await asyncio.sleep(0.2)
    raise AssertionError("the planner has not answered in time")
