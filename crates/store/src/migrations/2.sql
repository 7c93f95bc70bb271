-- What the keeper took out of every judgement, and took back. `other` is the content that this one had replaced:
-- it counts again after a withdrawal, and is replaced again after its undoing.
CREATE TABLE withdrawal (
    arrival INTEGER NOT NULL PRIMARY KEY,
    content TEXT    NOT NULL REFERENCES content (hash) DEFERRABLE INITIALLY DEFERRED,
    what    TEXT    NOT NULL CHECK (what IN ('withdrawn', 'reinstated')),
    why     TEXT    NOT NULL,
    when_us INTEGER NOT NULL,
    other   TEXT    REFERENCES content (hash) DEFERRABLE INITIALLY DEFERRED
) STRICT;

-- Surveys are kept in a fuller form from now on; they are derived again at the next start.
DELETE FROM survey;
