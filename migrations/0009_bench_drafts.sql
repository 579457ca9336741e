-- What is typed at benches and not handed in: no change of the course, and nobody is marked by it. The newest for a
-- student and an experiment; what was handed in since makes it old, and after two months it goes.
CREATE TABLE bench_draft (
    experiment  TEXT NOT NULL,
    student     TEXT NOT NULL,         -- key in `person`
    at          INTEGER NOT NULL,      -- when it was kept
    change      INTEGER NOT NULL,      -- counted over all of them, so that a board sees that one is new
    form        TEXT NOT NULL,         -- key of the form it was typed in
    fields      TEXT NOT NULL CHECK (json_valid(fields)),   -- names and values, as typed
    hand_at     INTEGER,               -- since when a hand is up
    PRIMARY KEY (experiment, student)
) STRICT;
CREATE INDEX bench_draft_change ON bench_draft (change);
