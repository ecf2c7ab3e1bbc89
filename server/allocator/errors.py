"""What can be wrong with a question to the planner. That no plan exists is a result, never an error.

AllocatorError
├── ProblemError   the question contradicts itself
└── Cancelled      the caller stopped the search before any plan was found
"""


class AllocatorError(Exception):
    """Anything that keeps the planner from answering."""


class ProblemError(AllocatorError, ValueError):
    """A question that contradicts itself: what is wrong, and what would be right."""

    def __init__(self, problem: str, cure: str) -> None:
        super().__init__(f"{problem}: {cure}")
        self.problem = problem
        self.cure = cure


class Cancelled(AllocatorError):
    """The caller stopped the search before any plan was found."""
