-- What the OneRoster exchange of the roster calls a student; empty for who came from none. Where there is one it stands
-- at the end of what the commitment is over.
ALTER TABLE person ADD COLUMN sourced_id TEXT NOT NULL DEFAULT '';
