-- What a course chose of how people sign in and how long it is kept where they were. No row: as it comes.
CREATE TABLE setting (
    name   TEXT PRIMARY KEY CHECK (name IN ('campus-claim', 'campus-match', 'institution', 'places-kept-days')),
    value  TEXT NOT NULL
) STRICT;
