"""The tables of the record, and how an older file becomes a current one."""

APPLICATION_ID = 0x4D4F5445
"""Marks the file as ours (SQLite's ``PRAGMA application_id``): "MOTE" in ASCII."""

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """
        CREATE TABLE body (
            id INTEGER PRIMARY KEY,
            maker TEXT NOT NULL,
            model TEXT NOT NULL,
            serial TEXT NOT NULL,
            UNIQUE (maker, model, serial)
        )
        """,
        """
        CREATE TABLE state (
            id INTEGER PRIMARY KEY,
            body_id INTEGER NOT NULL REFERENCES body (id),
            digest TEXT NOT NULL UNIQUE,
            recorded_at TEXT NOT NULL,
            taken_at TEXT,
            done TEXT NOT NULL,
            found INTEGER NOT NULL,
            showing INTEGER NOT NULL,
            shoot_at_f REAL NOT NULL,
            show_depth_frac REAL NOT NULL,
            level TEXT,
            method TEXT,
            f_number REAL,
            noise_frac REAL,
            smallest_depth_frac REAL,
            smallest_particle_um REAL,
            stack_distance_mm REAL,
            stack_source TEXT,
            frame TEXT NOT NULL
        )
        """,
        "CREATE INDEX state_of_body ON state (body_id)",
        """
        CREATE TABLE spot (
            state_id INTEGER NOT NULL REFERENCES state (id) ON DELETE CASCADE,
            id INTEGER NOT NULL,
            image_x_px REAL NOT NULL,
            image_y_px REAL NOT NULL,
            from_left_mm REAL,
            from_top_mm REAL,
            place TEXT,
            depth_frac REAL NOT NULL,
            snr REAL NOT NULL,
            width_um REAL,
            length_um REAL,
            lost_area_um2 REAL,
            particle_um REAL,
            kind TEXT NOT NULL,
            layer TEXT NOT NULL,
            shows_from_f REAL,
            rest TEXT NOT NULL,
            PRIMARY KEY (state_id, id)
        ) WITHOUT ROWID
        """,
    ),
)
"""One entry a version: statements that lead from the version before to it.

`frame` and `spot.rest` hold what has no column, as JSON with the keys of the report.
"""

SCHEMA_VERSION = len(MIGRATIONS)
"""Version that this program writes (SQLite's ``PRAGMA user_version``)."""

SPOT_COLUMNS = (
    "id",
    "image_x_px",
    "image_y_px",
    "from_left_mm",
    "from_top_mm",
    "place",
    "depth_frac",
    "snr",
    "width_um",
    "length_um",
    "lost_area_um2",
    "particle_um",
    "kind",
    "layer",
    "shows_from_f",
)
"""Keys of a spot that have a column of the same name."""
