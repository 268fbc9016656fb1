"""What the owner changes about people. Each change is recorded; nobody is ever deleted."""

from django.db import transaction

from layflat.base import InputError
from layflat.web.people.models import Person, Role
from layflat.web.record.models import write_event


def change_role(key: int, role: Role, *, who: Person | None) -> Person:
    """Give a person another role.

    Raises:
        InputError: the shop would be without an owner.
    """
    with transaction.atomic():
        person = _locked(key)
        before = Role(person.role)
        if role is not Role.OWNER:
            _keep_an_owner(person, f"{person.shown} stays owner")
        if role is not before:
            person.role = role
            person.save(update_fields=["role"])
            write_event(
                "person.role",
                f"{person.shown} was {before.label.lower()} and is {role.label.lower()} now.",
                who=who,
                before={"person": key, "role": before.value},
                after={"person": key, "role": role.value},
            )
    return person


def allow_sign_in(key: int, *, allowed: bool, who: Person | None) -> Person:
    """Let a person sign in, or not any longer; whoever is signed in then is out at once.

    Raises:
        InputError: the shop would be without an owner.
    """
    with transaction.atomic():
        person = _locked(key)
        if not allowed:
            _keep_an_owner(person, f"{person.shown} goes on signing in")
        if allowed is not person.is_active:
            person.is_active = allowed
            person.save(update_fields=["is_active"])
            write_event(
                "person.allowed" if allowed else "person.shut-out",
                f"{person.shown} may {'sign in again' if allowed else 'no longer sign in'}.",
                who=who,
                before={"person": key, "is_active": not allowed},
                after={"person": key, "is_active": allowed},
            )
    return person


def set_password(key: int, password: str, *, who: Person | None) -> Person:
    """Give a person a new password; the person is signed out wherever the old one was used."""
    with transaction.atomic():
        person = _locked(key)
        person.set_password(password)
        person.save(update_fields=["password"])
        write_event("person.password", f"{person.shown} got a new password.", who=who)
    return person


def change_own_password(key: int, *, old: str, new: str) -> Person:
    """Give oneself a new password. Nothing where it is in place already, as after a double tap.

    Raises:
        InputError: *old* is not the password until now.
    """
    with transaction.atomic():
        person = _locked(key)
        is_old = person.check_password(old)
        is_new = person.check_password(new)
        if is_old and is_new:
            raise InputError("That is your password already; think of another one.")
        if not is_old and not is_new:
            raise InputError("The password until now is another one; type it once more.")
        if not is_new:
            person.set_password(new)
            person.save(update_fields=["password"])
            write_event("person.own-password", f"{person.shown} chose a new password.", who=person)
    return person


def _locked(key: int) -> Person:
    """The person, with every owner locked: of two owners who demote each other one must wait."""
    list(Person.objects.select_for_update().filter(role=Role.OWNER).order_by("pk"))
    return Person.objects.select_for_update().get(pk=key)


def _keep_an_owner(person: Person, outcome: str) -> None:
    others = Person.objects.filter(role=Role.OWNER, is_active=True).exclude(pk=person.pk)
    if person.role == Role.OWNER and person.is_active and not others.exists():
        raise InputError(
            f"{outcome}: a shop needs an owner who can sign in. Make somebody else owner first."
        )
