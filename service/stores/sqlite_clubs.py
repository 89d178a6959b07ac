"""Clubs and their shelves in a SQLite file."""

from __future__ import annotations

import sqlite3

from service.stores.base import Club, Clubs, Item, Role
from service.stores.sqlite_file import SqliteFile
from service.stores.wording import too_full_shelf

_ROLES = list(Role)


class SqliteClubs(Clubs):
    """Clubs in a file; all that is changed outlives a power failure."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def found(self, number: str, name: str, hashes: dict[Role, str]) -> None:
        with self._file.writing(durable=True) as connection:
            if _is_there(connection, number):
                raise ValueError(f"there is a club with the number {number} already")
            connection.execute(
                "insert into club (number, name, created) values (?, ?, ?)",
                (number, name, self._file.now(connection)),
            )
            connection.executemany(
                "insert into link values (?, ?, ?)",
                [(hashed, number, role) for role, hashed in hashes.items()],
            )

    def entered(self, key_hash: str) -> tuple[Club, Role] | None:
        with self._file.reading() as connection:
            row = connection.execute(
                "select c.number, c.name, c.created, l.role, "
                "(select group_concat(role) from link where club = c.number) "
                "from link l join club c on c.number = l.club where l.hash = ?",
                (key_hash,),
            ).fetchone()
        if row is None:
            return None
        number, name, created, role, roles = row
        given = sorted((Role(text) for text in roles.split(",")), key=_ROLES.index)
        return Club(number, name, created, tuple(given)), Role(role)

    def rename(self, number: str, name: str) -> None:
        with self._file.writing(durable=True) as connection:
            connection.execute("update club set name = ? where number = ?", (name, number))

    def replace_link(self, number: str, role: Role, key_hash: str | None) -> None:
        with self._file.writing(durable=True) as connection:
            connection.execute("delete from link where club = ? and role = ?", (number, role))
            if key_hash is not None and _is_there(connection, number):
                connection.execute("insert into link values (?, ?, ?)", (key_hash, number, role))

    def remove(self, number: str) -> None:
        with self._file.writing(durable=True) as connection:
            connection.execute("delete from item where club = ?", (number,))
            connection.execute("delete from link where club = ?", (number,))
            connection.execute("delete from club where number = ?", (number,))

    def items(self, number: str) -> list[Item]:
        with self._file.reading() as connection:
            rows = connection.execute(
                "select number, data, added from item where club = ? order by number", (number,)
            ).fetchall()
        return [Item(*row) for row in rows]

    def add(self, number: str, data: str, most: int) -> Item:
        with self._file.writing(durable=True) as connection:
            if not _is_there(connection, number):
                raise KeyError(number)
            there = connection.execute(
                "select count(*) from item where club = ?", (number,)
            ).fetchone()[0]
            if there >= most:
                raise too_full_shelf(there, most)
            last = connection.execute(
                "update club set last = last + 1 where number = ? returning last", (number,)
            ).fetchone()[0]
            item = Item(last, data, self._file.now(connection))
            connection.execute(
                "insert into item values (?, ?, ?, ?)", (number, item.number, item.added, data)
            )
        return item

    def change(self, number: str, item: int, data: str) -> bool:
        with self._file.writing(durable=True) as connection:
            cursor = connection.execute(
                "update item set data = ? where club = ? and number = ?", (data, number, item)
            )
        return cursor.rowcount > 0

    def take_off(self, number: str, item: int) -> bool:
        with self._file.writing(durable=True) as connection:
            cursor = connection.execute(
                "delete from item where club = ? and number = ?", (number, item)
            )
        return cursor.rowcount > 0


def _is_there(connection: sqlite3.Connection, number: str) -> bool:
    row = connection.execute("select 1 from club where number = ?", (number,)).fetchone()
    return row is not None
