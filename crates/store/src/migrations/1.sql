-- Every content that ever came in, by the BLAKE3 of its bytes. `arrival` is the order of all that came in,
-- contents and notes together; `path` is the inbox path as bytes, `shown` the same as harmless text.
CREATE TABLE content (
    hash                TEXT    NOT NULL PRIMARY KEY,
    arrival             INTEGER NOT NULL UNIQUE,
    path                BLOB    NOT NULL,
    shown               TEXT    NOT NULL,
    bytes               INTEGER NOT NULL CHECK (bytes >= 0),
    mtime_us            INTEGER NOT NULL,
    state               TEXT    NOT NULL
                        CHECK (state IN ('archived', 'taken', 'set-aside', 'superseded', 'withdrawn')),
    superseded_by       TEXT    REFERENCES content (hash) DEFERRABLE INITIALLY DEFERRED,
    why                 TEXT,
    importer            TEXT,
    importer_version    TEXT,
    options_fingerprint TEXT,
    rows                INTEGER,
    put_away_path       BLOB
) STRICT;
CREATE INDEX content_by_path ON content (path, arrival);
CREATE INDEX content_by_state ON content (state, arrival);

CREATE TABLE note (
    arrival INTEGER NOT NULL PRIMARY KEY,
    path    BLOB    NOT NULL,
    content TEXT    REFERENCES content (hash) DEFERRABLE INITIALLY DEFERRED,
    text    TEXT    NOT NULL,
    state   TEXT    NOT NULL CHECK (state IN ('waiting', 'attached', 'replaced'))
) STRICT;
CREATE INDEX note_by_content ON note (content, arrival);
CREATE INDEX note_by_path ON note (path, arrival);

-- Whatever else was derived; `fingerprint` is that of all it was derived from.
CREATE TABLE derived (
    kind        TEXT NOT NULL,
    tank        TEXT NOT NULL,
    id          TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    body        TEXT NOT NULL,
    PRIMARY KEY (kind, tank, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE survey (
    tank        TEXT    NOT NULL,
    id          TEXT    NOT NULL,
    start_us    INTEGER NOT NULL,
    end_us      INTEGER NOT NULL,
    revision    INTEGER NOT NULL,
    fingerprint TEXT    NOT NULL,
    body        TEXT    NOT NULL,
    PRIMARY KEY (tank, id)
) STRICT;
CREATE INDEX survey_by_start ON survey (tank, start_us, id);

CREATE TABLE alert_change (
    tank      TEXT    NOT NULL,
    seq       INTEGER NOT NULL,
    change_id TEXT    NOT NULL UNIQUE,
    body      TEXT    NOT NULL,
    PRIMARY KEY (tank, seq)
) STRICT;

-- What goes out, at least once. It outlives the change that caused it, so that a rebuild tells nobody twice.
CREATE TABLE delivery (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    change_id   TEXT    NOT NULL,
    sink        TEXT    NOT NULL,
    notice      TEXT    NOT NULL,
    state       TEXT    NOT NULL CHECK (state IN ('waiting', 'sent', 'given-up')),
    attempts    INTEGER NOT NULL DEFAULT 0,
    next_try_us INTEGER NOT NULL,
    last_error  TEXT,
    created_us  INTEGER NOT NULL,
    sent_us     INTEGER,
    UNIQUE (change_id, sink)
) STRICT;
CREATE INDEX delivery_waiting ON delivery (next_try_us, id) WHERE state = 'waiting';

CREATE TABLE meta (
    key   TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
