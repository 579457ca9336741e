-- The course for people who query it: read-only, made of the journal and the judgements. Numbers are text as they were
-- written; students are named by their number, or by their key where who they are was removed.

-- The newest row of people for every key.
CREATE VIEW people AS
SELECT key, number, family_name, given_name, email, max(id) AS id FROM person GROUP BY key;

-- The roster.
CREATE VIEW students AS
SELECT coalesce(number, body ->> '$.student') AS student_id, family_name, given_name, body ->> '$.section' AS section,
       email, body ->> '$.left' AS left_on, max(seq) AS seq
FROM journal LEFT JOIN person ON commitment = body ->> '$.names'
WHERE kind = 'student' GROUP BY body ->> '$.student';

-- Every experiment as it is now.
CREATE VIEW experiments AS
SELECT body ->> '$.key' AS experiment, body ->> '$.procedure' AS procedure, body ->> '$.opens' AS opens,
       body ->> '$.due' AS due, max(seq) AS seq
FROM journal WHERE kind = 'experiment' GROUP BY body ->> '$.key';

-- Every revision handed in, the number of its receipt first.
CREATE VIEW submissions AS
SELECT seq AS receipt, body ->> '$.experiment' AS experiment, coalesce(number, body ->> '$.student') AS student_id,
       row_number() OVER (PARTITION BY body ->> '$.experiment', body ->> '$.student' ORDER BY seq) AS revision,
       body ->> '$.submitted_at' AS submitted_at, body ->> '$.hand_in.reported' AS reported, body ->> '$.reason' AS reason,
       by_login, at AS recorded_at
FROM journal LEFT JOIN people ON key = body ->> '$.student'
WHERE kind = 'hand-in';

-- One row per reading of every revision: the place it has in its row, and what was written there.
CREATE VIEW readings AS
SELECT seq AS receipt, body ->> '$.experiment' AS experiment, coalesce(number, body ->> '$.student') AS student_id,
       row.key AS row, row.value ->> '$.trial' AS trial, substr(cell.fullkey, 3) AS place, cell.atom AS written
FROM journal LEFT JOIN people ON people.key = body ->> '$.student',
     json_each(body, '$.hand_in.titrations') AS row, json_tree(row.value) AS cell
WHERE kind = 'hand-in' AND cell.atom IS NOT NULL AND cell.fullkey <> '$.trial';

-- The newest judgement of every submission: points by part, and the result in the unit of the experiment.
CREATE VIEW results AS
SELECT experiment, coalesce(number, student) AS student_id, document ->> '$.evaluation.unknown' AS unknown,
       (SELECT coalesce(group_concat(used.value ->> '$.value."titrant-lot"', ' '), '')
        FROM json_each(document, '$.evaluation.versions') AS used) AS lot,
       document ->> '$.evaluation.outcome.result' AS result,
       document ->> '$.evaluation.marks.total' AS total, document ->> '$.evaluation.marks.possible' AS possible,
       (SELECT json_group_object(part.value ->> '$.part', part.value ->> '$.points')
        FROM json_each(document, '$.evaluation.marks.parts') AS part) AS points,
       document ->> '$.status' AS status, seq
FROM judgement LEFT JOIN people ON key = student
WHERE judgement.id IN (SELECT max(id) FROM judgement GROUP BY experiment, student) AND document <> 'null';

-- Every value a lot or an unknown ever had, with the preparation record it follows from, if any; the highest version
-- counts. Those of unknowns are the secret of the course.
CREATE VIEW lot_values AS
SELECT body ->> '$.code' AS lot, body ->> '$.version' AS version, body ->> '$.reagent' AS reagent,
       body ->> '$.molarity.value' AS molarity, body ->> '$.molarity.standard_uncertainty' AS standard_uncertainty,
       body ->> '$.source' AS record, body ->> '$.reason' AS reason, by_login, at
FROM journal WHERE kind = 'lot';

CREATE VIEW unknown_values AS
SELECT body ->> '$.experiment' AS experiment, body ->> '$.code' AS unknown, body ->> '$.version' AS version,
       body ->> '$.truth.value' AS true_value, body ->> '$.truth.standard_uncertainty' AS standard_uncertainty,
       body ->> '$.source' AS record, body ->> '$.reason' AS reason, by_login, at
FROM journal WHERE kind = 'unknown';

-- Every decision, in order.
CREATE VIEW decisions AS
SELECT seq, body ->> '$.experiment' AS experiment, coalesce(number, body ->> '$.student') AS student_id,
       body ->> '$.ruling' AS ruling, body ->> '$.revision' AS revision, body ->> '$.reason' AS reason,
       body ->> '$.by' AS by_login, body ->> '$.at' AS at
FROM journal LEFT JOIN people ON key = body ->> '$.student'
WHERE kind = 'decision';

-- Everything that was ever done, in order.
CREATE VIEW history AS
SELECT seq, at, coalesce(number, by_login) AS by_login, kind, body ->> '$.experiment' AS experiment
FROM journal LEFT JOIN people ON key = by_login;
