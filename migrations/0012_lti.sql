-- Platforms from which people are sent here by LTI 1.3. No secret is among them: what a platform says is signed by keys
-- that it publishes.
CREATE TABLE lti_platform (
    issuer      TEXT NOT NULL,
    client      TEXT NOT NULL,           -- what we are called there
    deployment  TEXT NOT NULL,
    authorize   TEXT NOT NULL,           -- address to which a browser is sent to be named
    keys        TEXT NOT NULL,           -- address of its public keys
    named_by    TEXT NOT NULL,           -- by what it names people
    PRIMARY KEY (issuer, client, deployment)
) STRICT;
