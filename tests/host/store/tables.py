"""A run store as any program reads it."""

import sqlite3


def raw(store):
    connection = sqlite3.connect(store.path)
    connection.row_factory = sqlite3.Row
    return connection
