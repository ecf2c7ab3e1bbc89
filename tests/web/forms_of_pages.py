"""The forms of a page as a browser would send them."""

from html.parser import HTMLParser

_UNSENT = ("submit", "button", "file", "image", "reset")


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self._fields: dict[str, str] | None = None
        self._select = self._area = ""

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        if tag == "form":
            self._fields = {}
            self.found.append((told.get("action", ""), self._fields))
        elif self._fields is not None:
            self._field(tag, told)

    def _field(self, tag, told):
        name, value = told.get("name"), told.get("value") or ""
        if tag == "input" and name and told.get("type", "text") not in _UNSENT:
            if told.get("type") not in ("checkbox", "radio") or "checked" in told:
                before = self._fields.get(name)  # several ticks of one name
                self._fields[name] = f"{before} {value}" if before and told["type"] == "checkbox" else value
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select:
            if "selected" in told or self._select not in self._fields:
                self._fields[self._select] = value
        elif tag == "textarea":
            self._area, self._fields[name] = name, ""

    def handle_endtag(self, tag):
        if tag == "form":
            self._fields = None
        elif tag == "select":
            self._select = ""
        elif tag == "textarea":
            self._area = ""

    def handle_data(self, data):
        if self._area:
            self._fields[self._area] += data.removeprefix("\n")


def form_of(html: str, action: str) -> dict[str, str]:
    """What the first form with this address would send with nothing changed."""
    reader = _Forms()
    reader.feed(html)
    return dict(next(fields for address, fields in reader.found if address.partition("?")[0] == action))
