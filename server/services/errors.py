"""What a service may refuse. A message is one sentence for whoever asked; `web/errors.py` knows the statuses.

ServiceError
  ├── NotFoundError        there is no such day, pilot, plan or page
  ├── InputError           something typed cannot be used; says which field and what would be right
  ├── RefusedError         understood, but the day's state or rules do not allow it now
  ├── OvertakenError       somebody else changed it since this page was loaded
  ├── WrongPassPhraseError
  └── TooManyTriesError    says after how many seconds another try is allowed
"""

from collections.abc import Mapping

from server.wording import gettext as _


class ServiceError(Exception):
    """`str(error)` is one sentence that can be shown as it is."""


class NotFoundError(ServiceError):
    pass


class InputError(ServiceError):
    """`faults` maps a field's name to the sentence that stands under it."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__(" ".join(faults.values()))
        self.faults = dict(faults)


class RefusedError(ServiceError):
    pass


class OvertakenError(ServiceError):
    pass


class WrongPassPhraseError(ServiceError):
    def __init__(self) -> None:
        super().__init__(
            _(
                "This is not the pass phrase. It is six words with spaces between; capitals do not matter. "
                "Organizer, director and helper have one each: look who is chosen."
            )
        )


class TooManyTriesError(ServiceError):
    """`is_of_strangers` where everybody's wrong tries together keep out browsers that are not known."""

    def __init__(self, retry_after_s: int, is_of_strangers: bool = False) -> None:
        minutes = -(-retry_after_s // 60)
        super().__init__(
            _(
                "Too many wrong pass phrases came from browsers that are not known here. Sign in on the machine "
                "that runs Bandstand, or in a browser that was signed in as this before: both get in now. This "
                "one can try again in %(minutes)s min.",
                minutes=minutes,
            )
            if is_of_strangers
            else _("Too many wrong pass phrases from here. Try again in %(minutes)s min.", minutes=minutes)
        )
        self.retry_after_s = retry_after_s
