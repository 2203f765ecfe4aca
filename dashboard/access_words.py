"""Words of signing in, of the page of people and of wall screens; ready to be translated."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from dashboard.actions import Person

SIGN_IN: Final = "Sign in"
SIGN_OUT: Final = "Sign out"
SIGNED_OUT: Final = "You are signed out on this device."
MY_ACCOUNT: Final = "My account"
PEOPLE: Final = "People"
LOGIN: Final = "Login"
PASSWORD: Final = "Password"  # noqa: S105 - a label
NEW_PASSWORD: Final = "New password"  # noqa: S105 - a label
OLD_PASSWORD: Final = "Password so far"  # noqa: S105 - a label
NAME: Final = "Your name, as it stands in the record"
CODE: Final = "One-time code"
HAVE_CODE: Final = "Set a password with a one-time code"
SET_PASSWORD: Final = "Set the password"  # noqa: S105 - a label
CHANGE_PASSWORD: Final = "Change the password"  # noqa: S105 - a label
CHANGE_HOW: Final = "A new password signs you out on every other device."
SIGN_OUT_EVERYWHERE: Final = "Sign out on every device"
BY_SSO: Final = "Sign in through the hospital's sign-on"
SSO_NOBODY: Final = "The hospital's sign-on knows you, but no account here goes by that name. Ask an administrator."
FIRST: Final = "The first administrator"
FIRST_HOW: Final = (
    "Nobody has an account here yet. On the machine that runs sieveward, `sieveward user first --data DIR` prints a "
    "one-time code. Type it here, and choose what you will sign in with."
)
FIRST_MAKE: Final = "Become the administrator"
LENGTHS: Final = "At least 15 characters (8 for a ward's account); a few words in a row do well."
FORGOT: Final = "Password forgotten? An administrator gives you a one-time code."
#: What the address bar may ask to be said after a form was sent: never text of its own.
SAID: Final[dict[str, str]] = {
    "wrong": "That did not work: login, password or code is not right.",
    "refused-origin": "This form came from another page than the dashboard. Load the dashboard anew and try again.",
    "short": "The password is too short. At least 15 characters, or 8 for an account that acts in a ward.",
    "common": "This password is among the first that anybody tries, or too long. Take a few words in a row.",
    "taken": "Write a name, and a login that nobody has.",
    "store": "The store cannot be written at this moment. Try again.",
    "changed": "Your password is changed. Every other device is signed out.",
}
WALL_WITHDRAWN: Final = "This link was withdrawn. This screen shows nothing any more: ask for a new link."
WALL_UNKNOWN: Final = "This link is not known here. Nothing is shown: ask for a new link."
OPEN: Final = "open: nobody signs in here"
NOT_OFFERED: Final = "Your account may not write this down here. Ask somebody whose role and ward may."
OPEN_HOW: Final = (
    "This is a simulated facility in which nobody signs in. `sieveward user first --data DIR` makes the code of a "
    "first administrator; once that account is there, everybody signs in."
)
FOR_ADMINISTRATORS: Final = "This page is for administrators."
ACCOUNTS: Final = "Accounts"
ACCOUNT: Final = "Account"
NAME_IN_RECORD: Final = "Name in the record"
ROLE: Final = "Role"
ACTS_IN: Final = "Acts in"
ALL_WARDS: Final = "all wards"
STATE: Final = "State"
DISABLED: Final = "disabled"
GOOD: Final = "good"
NO_PASSWORD_YET: Final = "waits for its password to be set"  # noqa: S105 - a state
SSO_NAME: Final = "Name at the hospital's sign-on (optional)"
ADD_ACCOUNT: Final = "Add an account"
CHANGE_ACCOUNT: Final = "Change an account"
CHANGED: Final = "changed"
NEW_CODE: Final = "Code for a new password"
UNLOCK: Final = "Unlock"
DISABLE: Final = "Disable"
ENABLE: Final = "Enable"
SIGNED_IN_NOW: Final = "Signed in now"
END_SESSION: Final = "Sign out"
SESSION_ENDED: Final = "The session was ended; its screen closes within seconds."
WALL_SCREENS: Final = "Wall screens"
WARD: Final = "Ward"
PLACE: Final = "Which screen"
MAKE_LINK: Final = "Make a link"
WITHDRAW: Final = "Withdraw"
DOOR: Final = "At the door"
WHEN: Final = "When"
WHAT: Final = "What"
WHO: Final = "Who"
FROM: Final = "From"
SAID_OF: Final = "Details"


def code_for(login: str, code: str) -> str:
    """The code of a new password, shown once."""
    return f"**{login}** signs in the first time with this code, within 3 days: `{code}`. It is not shown again."


def done_to(login: str, what: str) -> str:
    """What was done to an account."""
    return f"**{login}**: {what}."


def link_made(number: int, url: str) -> str:
    """A wall screen's link, shown once."""
    return f"Link {number}, open it on the wall screen: `{url}`. It is not shown again; whoever has it sees that ward."


def link_withdrawn(number: int) -> str:
    """Said after a link was withdrawn."""
    return f"Link {number} is withdrawn; its screen says so within seconds."


def session(name: str, address: str, how: str, made: str, seen: str) -> str:
    """One session in a line."""
    return f"**{name}** from {address} by {how}, since {made}, last used {seen}"


def link(number: int, ward: str, place: str, made: str, by: str, withdrawn: str) -> str:
    """One link in a line."""
    gone = f"; withdrawn {withdrawn}" if withdrawn else ""
    return f"Link {number}: **{ward}**{f', {place}' if place else ''}, made {made} by {by}{gone}"


def wait(seconds: int) -> str:
    """Said to somebody who has tried too often."""
    how_long = f"{seconds} s" if seconds < 120 else f"{-(-seconds // 60)} min"
    return f"Too many tries in vain. Wait {how_long}; trying earlier changes nothing. An administrator can unlock you."


def signed_in_as(person: Person) -> str:
    """Who acts on this screen."""
    wards = f", {', '.join(person.wards)}" if person.wards else ""
    return f"You act as **{person.name}** ({person.role}{wards})."
