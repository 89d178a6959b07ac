"""Clubs and their shelves in a Redis server."""

from __future__ import annotations

from typing import Any

from service.stores.base import Club, Clubs, Item, Role
from service.stores.redis import Server
from service.stores.wording import too_full_shelf


class RedisClubs(Clubs):
    """See ``stores.base.Clubs``; every method is one command of ``lua/clubs.lua``."""

    def __init__(self, server: Server) -> None:
        self._script = server.script("clubs")

    def found(self, number: str, name: str, hashes: dict[Role, str]) -> None:
        links = [part for role, link in hashes.items() for part in (role.value, link)]
        if not self._script("found", number, name, *links):
            raise ValueError("there is a club with this number")

    def entered(self, key_hash: str) -> tuple[Club, Role] | None:
        said = self._script("entered", key_hash)
        if not said:
            return None
        number, name, created, role, *roles = (part.decode() for part in said)
        held = tuple(sorted((Role(one) for one in roles), key=list(Role).index))
        return Club(number, name, float(created) / 1e6, held), Role(role)

    def rename(self, number: str, name: str) -> None:
        self._script("rename", number, name)

    def replace_link(self, number: str, role: Role, key_hash: str | None) -> None:
        self._script("replace_link", number, role.value, key_hash or "")

    def remove(self, number: str) -> None:
        self._script("remove", number)

    def items(self, number: str) -> list[Item]:
        return [_item(line) for line in self._script("items", number)]

    def add(self, number: str, data: str, most: int) -> Item:
        said = self._script("add", number, data, most)
        if said == 0:
            raise KeyError(number)
        if not said:
            raise too_full_shelf(most, most)
        return _item(said)

    def change(self, number: str, item: int, data: str) -> bool:
        return bool(self._script("change", number, item, data))

    def take_off(self, number: str, item: int) -> bool:
        return bool(self._script("take_off", number, item))


def _item(line: Any) -> Item:
    number, data, added = line
    return Item(int(number), data.decode(), float(added) / 1e6)
