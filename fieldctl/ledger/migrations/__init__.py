"""How the tables came to be: one file a version under `versions`, applied by Alembic inside the caller's transaction.

To add a version: change `schema.py`, write `versions/NNNN_what.py`, raise `schema.HEAD`, and add the SQL text of a
database of the version before under `tests/ledger/old`.
"""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection


def upgrade(connection: Connection, to: str = "head") -> None:
    """Bring a database to a version; the caller holds the transaction, so that it is all or nothing."""
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def known() -> frozenset[str]:
    """The versions that this program can open."""
    return frozenset(script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions())


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config
