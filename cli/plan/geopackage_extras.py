"""What a plan carries beside its features: field descriptions, value lists, default symbols."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from cli.plan.fields import Field, Units, fields_of
from cli.plan.layers import Layer
from cli.plan.structure_looks import looks_of
from cli.plan.symbols import layer_symbols
from cli.plan.symbols_qml import qml
from cli.plan.symbols_sld import sld

_SCHEMA_PAGE = "http://www.geopackage.org/spec121/#extension_schema"

_CREATE = """
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name)
);
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT,
  min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value)
);
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL,
  scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name)
);
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256),
  f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
  styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT,
  owner TEXT(30), ui TEXT(30), update_time DATETIME DEFAULT CURRENT_TIMESTAMP
);
"""


def write_extras(
    db: sqlite3.Connection, layers: Sequence[Layer], units: Units, *, fixed_date: str
) -> None:
    """Write descriptions, value lists and symbols into an unfinished plan.

    Parameters
    ----------
    db
        Open connection in autocommit mode.
    layers
        Every layer and table of the plan.
    units
        Units the fields are written in.
    fixed_date
        Date that stands for "changed", the same in every plan.
    """
    db.executescript("BEGIN;" + _CREATE)
    _write_descriptions(db, layers, units)
    _write_styles(db, layers, units, fixed_date)
    db.execute("COMMIT")


def _write_descriptions(db: sqlite3.Connection, layers: Sequence[Layer], units: Units) -> None:
    """Fill the tables of the GeoPackage schema extension and register it."""
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        db.execute(
            "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')",
            (table, _SCHEMA_PAGE),
        )
    listed: dict[str, Field] = {}
    for layer in layers:
        for field in fields_of(layer.name):
            # Names of constraints are lower case, as the standard asks.
            constraint = f"{field.layer}_{field.name}".lower() if field.codes else None
            if constraint:
                listed[constraint] = field
            # No alias (name, title): a GIS then shows the field by its own name everywhere.
            db.execute(
                "INSERT INTO gpkg_data_columns VALUES (?, ?, NULL, NULL, ?, NULL, ?)",
                (layer.name, field.name_in(units), field.meaning, constraint),
            )
    for constraint, field in listed.items():
        db.executemany(
            "INSERT INTO gpkg_data_column_constraints"
            " VALUES (?, 'enum', ?, NULL, NULL, NULL, NULL, ?)",
            [(constraint, code, meaning) for code, meaning in field.codes],
        )


def _write_styles(
    db: sqlite3.Connection, layers: Sequence[Layer], units: Units, fixed_date: str
) -> None:
    """Fill the table from which a desktop GIS takes a layer's default symbols."""
    srs_id = 0
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change,"
        " srs_id) VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?, ?)",
        (fixed_date, srs_id),
    )
    looks = looks_of({layer.name: layer for layer in layers})
    for layer in layers:
        if layer.geometry is None:
            continue
        symbols = layer_symbols(layer.name, units, looks)
        words = "Default symbols: " + "; ".join(rule.label for rule in symbols.rules)
        styles = (qml(symbols), sld(layer.name, symbols), words)
        db.execute(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name,"
            " f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner,"
            " ui, update_time) VALUES ('', '', ?, 'geom', ?, ?, ?, 1, ?, '', NULL, ?)",
            (layer.name, layer.name, *styles, fixed_date),
        )
