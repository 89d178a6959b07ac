"""The sentences that every store says alike."""

from __future__ import annotations

from service.settings import MOST_ATTEMPTS
from service.stores.base import TooManyError

#: What is said of a job whose work was broken off too often.
LAPSED = (
    f"the work on it was broken off {MOST_ATTEMPTS} times: whoever did it died or did not answer; "
    "smaller bounds may help"
)


def too_many_own(there: int, most: int) -> TooManyError:
    """Return what an asker is told who has as many searches as are allowed."""
    return TooManyError(
        f"{there} of your searches are not over yet, and {most} is the most at a time; "
        "stop one or wait until one ends"
    )


def too_many_of_all(there: int, most: int) -> TooManyError:
    """Return what an asker is told when all together have as many searches as are allowed."""
    return TooManyError(
        f"{there} searches wait or are at work, and {most} is the most; try again later", 30
    )


def too_much_computing(spent: float, most: float, retry_after: int) -> TooManyError:
    """Return what an asker is told whose searches took as many seconds as are allowed."""
    return TooManyError(
        f"your searches have taken {spent:.0f} s of computing within an hour, and {most:g} s is "
        "the most; try again later",
        max(10, retry_after),
    )


def too_full_shelf(there: int, most: int) -> TooManyError:
    """Return what a club is told whose shelf is full."""
    things = "there is 1 thing" if there == 1 else f"there are {there} things"
    return TooManyError(
        f"{things} on this shelf, and {most} is the most; take something off",
        # Waiting does not help.
        0,
    )
