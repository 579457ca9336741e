-- Free text about students stands apart from the journal, which holds a commitment to it, so that it can be taken out and
-- the journal stays whole; judgements name the version of the rules they were made by.
CREATE TABLE free_text (
    commitment  TEXT PRIMARY KEY,      -- SHA-256 of the JSON array of salt and text; `apart` in the body of the journal
    salt        TEXT NOT NULL,
    text        TEXT NOT NULL
) STRICT;
CREATE TRIGGER free_text_kept BEFORE UPDATE ON free_text
BEGIN SELECT RAISE(ABORT, 'free_text is append-only: a row is never changed'); END;

ALTER TABLE judgement ADD COLUMN rules INTEGER NOT NULL DEFAULT 0;   -- 0: made before they were numbered

DROP VIEW decisions;
-- Every decision, in order.
CREATE VIEW decisions AS
SELECT seq, body ->> '$.experiment' AS experiment, coalesce(number, body ->> '$.student') AS student_id,
       body ->> '$.ruling' AS ruling, body ->> '$.revision' AS revision, coalesce(text, body ->> '$.reason') AS reason,
       body ->> '$.by' AS by_login, body ->> '$.at' AS at
FROM journal LEFT JOIN people ON key = body ->> '$.student' LEFT JOIN free_text ON commitment = body ->> '$.apart'
WHERE kind = 'decision';
