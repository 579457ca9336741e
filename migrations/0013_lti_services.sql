-- Services of platforms: members of a course there, and grades that go back.
--
-- What follows to `lti_member` is kept where people sign in: in a department that is people.db.
ALTER TABLE lti_platform ADD COLUMN token TEXT NOT NULL DEFAULT '';     -- address at which tokens for its services are had
ALTER TABLE lti_platform ADD COLUMN audience TEXT NOT NULL DEFAULT '';  -- whom it wants requests for them to be made out to; empty: to that address

-- Keys by which this server signs. The newest that is not retired signs; of a retired one the public part alone is kept.
CREATE TABLE lti_key (
    kid         TEXT PRIMARY KEY,      -- thumbprint of the public part (RFC 7638)
    n           TEXT NOT NULL,
    e           TEXT NOT NULL,
    private     TEXT NOT NULL,         -- PKCS #8, base64: the server has to know it; empty once it signs no more
    made_at     INTEGER NOT NULL,
    retired_at  INTEGER
) STRICT;

-- Courses of platforms, as launches told of them.
CREATE TABLE lti_context (
    name         TEXT PRIMARY KEY,     -- SHA-256 over the four that follow
    issuer       TEXT NOT NULL,
    client       TEXT NOT NULL,
    deployment   TEXT NOT NULL,
    id           TEXT NOT NULL,        -- what the platform calls it
    title        TEXT NOT NULL,
    memberships  TEXT NOT NULL,        -- address of its members; empty if none was given
    line_items   TEXT NOT NULL,        -- address of its gradebook's columns; empty if none was given
    scopes       TEXT NOT NULL,        -- what may be done there, with spaces between
    groups       TEXT NOT NULL,        -- address of its groups; empty if none was given
    link         TEXT NOT NULL,        -- the resource link last launched
    seen_at      INTEGER NOT NULL,
    course       TEXT                  -- key of the course it is, empty where there is one only; none until a coordinator says so
) STRICT;
CREATE INDEX lti_context_course ON lti_context (course) WHERE course IS NOT NULL;

-- Who somebody of a platform is here.
CREATE TABLE lti_person (
    issuer     TEXT NOT NULL,
    sub        TEXT NOT NULL,          -- what the platform calls them, for good
    kind       TEXT NOT NULL CHECK (kind IN ('staff', 'student')),
    login      TEXT NOT NULL,          -- as on that list
    linked_at  INTEGER NOT NULL,
    PRIMARY KEY (issuer, sub)
) STRICT;
CREATE INDEX lti_person_login ON lti_person (kind, login);

CREATE TABLE lti_member (
    context  TEXT NOT NULL,            -- name of a context
    issuer   TEXT NOT NULL,
    sub      TEXT NOT NULL,
    teaches  INTEGER NOT NULL,         -- whether they were launched as an instructor of it
    named    TEXT NOT NULL,            -- as the platform named them when its members were fetched; empty once it is known who it is
    PRIMARY KEY (context, sub)
) STRICT;

-- Grades that go back, in the file of the course. They follow from the journal, up to where it was gone through.
CREATE TABLE lti_course (
    one     INTEGER PRIMARY KEY CHECK (one = 1),
    wanted  INTEGER NOT NULL,          -- whether grades go to the platform
    seq     INTEGER NOT NULL           -- the newest row of the journal that was gone through
) STRICT;
INSERT INTO lti_course (one, wanted, seq) VALUES (1, 0, 0);

CREATE TABLE lti_line_item (
    context      TEXT NOT NULL,
    experiment   TEXT NOT NULL,
    address      TEXT NOT NULL,        -- empty while it is looked for or made
    taken_until  INTEGER NOT NULL,     -- until then somebody looks for it or makes it, and nobody else does
    PRIMARY KEY (context, experiment)
) STRICT;

CREATE TABLE lti_grade (
    id           INTEGER PRIMARY KEY,
    context      TEXT NOT NULL,
    experiment   TEXT NOT NULL,
    student      TEXT NOT NULL,        -- a student's key in `person`
    points       TEXT,                 -- what the platform is to show; none: it is to show none any more
    possible     TEXT NOT NULL,
    settled      INTEGER NOT NULL,     -- whether nobody has to look at it any more
    version      INTEGER NOT NULL,     -- counted up whenever that changes
    changed_at   INTEGER NOT NULL,
    state        TEXT NOT NULL CHECK (state IN ('waiting', 'sent', 'refused', 'dropped')),
    tries        INTEGER NOT NULL,
    next_at      INTEGER NOT NULL,     -- when it is tried next
    taken_until  INTEGER NOT NULL,     -- until then it is on its way, and nobody else tries it
    stamped_at   INTEGER NOT NULL,     -- the newest timestamp that was sent: none is sent twice, none is older
    sent_at      INTEGER,
    sent_points  TEXT,                 -- what the platform took last
    why          TEXT NOT NULL,
    UNIQUE (context, experiment, student)
) STRICT;
CREATE INDEX lti_grade_waiting ON lti_grade (next_at) WHERE state = 'waiting';
CREATE INDEX lti_grade_student ON lti_grade (student);
