-- From schema 2 to 3: the service log.

CREATE TABLE service (
  n       INTEGER NOT NULL PRIMARY KEY CHECK (n > 0),
  prop    TEXT    NOT NULL REFERENCES prop (name) DEFERRABLE INITIALLY DEFERRED,
  at      TEXT    NOT NULL,              -- RFC 3339, UTC
  kind    TEXT    NOT NULL CHECK (kind IN ('repaired', 'swapped', 'by-passed', 'back', 'incident', 'moved', 'held', 'released')),
  text    TEXT    NOT NULL CHECK (text <> ''),
  by_whom TEXT    NOT NULL CHECK (by_whom <> ''),
  board   TEXT    NOT NULL,
  report  INTEGER NOT NULL CHECK (report >= 0)
);
CREATE TRIGGER service_not_deleted BEFORE DELETE ON service BEGIN SELECT RAISE(ABORT, 'the service log is only ever added to'); END;
CREATE TRIGGER service_not_changed BEFORE UPDATE ON service BEGIN SELECT RAISE(ABORT, 'the service log is only ever added to'); END;
UPDATE propwright_schema SET version = 3;
