//! Grades on their way to a platform: one row for each student, experiment and course of a platform, with what it is to show.
//! Students stand here by their key, so that who is taken out is nobody here either.

use jiff::Timestamp;

use crate::store::StoreError;
use crate::store::journal::instant;
use crate::store::sending::{SendState, state_of};
use crate::store::sql::{Connection, Row, query, query_scalar};

/// The grades of the database of a course.
pub struct Grades<'c>(pub &'c mut Connection);

/// What a platform is to show for somebody.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Name of the course there.
    pub context: String,
    pub experiment: String,
    /// A student's key.
    pub student: String,
    /// None: none any more.
    pub points: Option<String>,
    pub possible: String,
    /// Whether nobody has to look at it any more.
    pub settled: bool,
}

/// A grade as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grade {
    pub id: i64,
    pub wanted: Wanted,
    pub version: i64,
    pub changed_at: Timestamp,
    pub state: SendState,
    pub tries: i64,
    pub next_at: Timestamp,
    pub taken_until: Timestamp,
    /// The newest timestamp that went with it.
    pub stamped_at: Timestamp,
    pub sent_at: Option<Timestamp>,
    pub sent_points: Option<String>,
    pub why: String,
}

impl Grades<'_> {
    /// Whether grades go to the platform.
    pub async fn is_wanted(&mut self) -> Result<bool, StoreError> {
        let wanted = query_scalar("SELECT wanted FROM lti_course");
        let wanted: i64 = wanted.fetch_one(&mut *self.0).await?;
        Ok(wanted != 0)
    }

    /// Turns that on or off. Turned on, everything is gone through anew.
    pub async fn want(&mut self, wanted: bool) -> Result<(), StoreError> {
        let put = query("UPDATE lti_course SET wanted = $1, seq = -1").bind(i64::from(wanted));
        put.execute(&mut *self.0).await?;
        Ok(())
    }

    /// The newest row of the journal that was gone through.
    pub async fn gone_through(&mut self) -> Result<i64, StoreError> {
        let seq = query_scalar("SELECT seq FROM lti_course");
        Ok(seq.fetch_one(&mut *self.0).await?)
    }

    pub async fn go_through(&mut self, seq: i64) -> Result<(), StoreError> {
        let put = query("UPDATE lti_course SET seq = $1 WHERE seq < $1").bind(seq);
        put.execute(&mut *self.0).await?;
        Ok(())
    }

    /// Has everything gone through anew when it is next looked for what is to be sent.
    pub async fn begin_anew(&mut self) -> Result<(), StoreError> {
        let put = query("UPDATE lti_course SET seq = -1");
        put.execute(&mut *self.0).await?;
        Ok(())
    }

    pub async fn all(&mut self) -> Result<Vec<Grade>, StoreError> {
        let rows = query("SELECT * FROM lti_grade ORDER BY experiment, changed_at DESC, id");
        let rows = rows.fetch_all(&mut *self.0).await?;
        rows.iter().map(read).collect()
    }

    /// Puts what a platform is to show in the place of what it was to show before. On its way already, that one ends first.
    pub async fn put(&mut self, wanted: &Wanted, at: Timestamp) -> Result<(), StoreError> {
        query(
            "INSERT INTO lti_grade (context, experiment, student, points, possible, settled, version, changed_at, state, tries,
                 next_at, taken_until, stamped_at, why)
             VALUES ($1, $2, $3, $4, $5, $7, 1, $6, 'waiting', 0, $6, 0, 0, '')
             ON CONFLICT (context, experiment, student) DO UPDATE SET points = $4, possible = $5, settled = $7,
                 version = lti_grade.version + 1, changed_at = $6, state = 'waiting', tries = 0,
                 next_at = CASE WHEN lti_grade.taken_until > $6 THEN lti_grade.taken_until ELSE $6 END, why = ''",
        )
        .bind(&wanted.context)
        .bind(&wanted.experiment)
        .bind(&wanted.student)
        .bind(wanted.points.as_deref())
        .bind(&wanted.possible)
        .bind(at.as_millisecond())
        .bind(i64::from(wanted.settled))
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Says that a grade is not to be sent after all.
    pub async fn drop(&mut self, id: i64, why: &str) -> Result<(), StoreError> {
        let put = query(
            "UPDATE lti_grade SET state = 'dropped', points = NULL, version = version + 1, why = $1 WHERE id = $2",
        );
        put.bind(why).bind(id).execute(&mut *self.0).await?;
        Ok(())
    }

    /// Those that are to be tried now, those that have waited longest first.
    pub async fn due(&mut self, at: Timestamp, most: i64) -> Result<Vec<Grade>, StoreError> {
        let rows = query(
            "SELECT * FROM lti_grade WHERE state = 'waiting' AND next_at <= $1 AND taken_until <= $1
             ORDER BY changed_at, id LIMIT $2",
        );
        let rows = rows.bind(at.as_millisecond()).bind(most);
        let rows = rows.fetch_all(&mut *self.0).await?;
        rows.iter().map(read).collect()
    }

    /// Takes one that is due, with the timestamp it is sent with; until then nobody else does. Says whether it was still
    /// there to take.
    pub async fn take(
        &mut self,
        grade: &Grade,
        stamp: Timestamp,
        until: Timestamp,
    ) -> Result<bool, StoreError> {
        let taken = query(
            "UPDATE lti_grade SET taken_until = $5, stamped_at = $6, tries = tries + 1
             WHERE id = $1 AND state = 'waiting' AND version = $2 AND next_at = $3 AND taken_until = $4",
        )
        .bind(grade.id)
        .bind(grade.version)
        .bind(grade.next_at.as_millisecond())
        .bind(grade.taken_until.as_millisecond())
        .bind(until.as_millisecond())
        .bind(stamp.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(taken == 1)
    }

    /// Says that the platform took what was sent; what came to be wanted in the meantime is sent after it.
    pub async fn sent(&mut self, grade: &Grade, at: Timestamp) -> Result<(), StoreError> {
        query(
            "UPDATE lti_grade SET taken_until = 0, sent_at = $3, sent_points = $4,
                 state = CASE WHEN version = $2 THEN 'sent' ELSE state END, why = CASE WHEN version = $2 THEN '' ELSE why END,
                 next_at = CASE WHEN version = $2 THEN next_at ELSE $3 END
             WHERE id = $1",
        )
        .bind(grade.id)
        .bind(grade.version)
        .bind(at.as_millisecond())
        .bind(grade.wanted.points.as_deref())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Says that a grade waits until then, or (none) that the platform will not have it, and why.
    pub async fn not_sent(
        &mut self,
        grade: &Grade,
        (next, why): (Option<Timestamp>, &str),
    ) -> Result<(), StoreError> {
        query(
            "UPDATE lti_grade SET taken_until = 0,
                 state = CASE WHEN version = $2 AND $3 IS NULL THEN 'refused' ELSE state END,
                 next_at = CASE WHEN version = $2 AND $3 IS NOT NULL THEN $3 ELSE next_at END,
                 why = CASE WHEN version = $2 THEN $4 ELSE why END
             WHERE id = $1",
        )
        .bind(grade.id)
        .bind(grade.version)
        .bind(next.map(Timestamp::as_millisecond))
        .bind(why)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Says that a platform cannot be had: all that is due there waits until then.
    pub async fn put_off(
        &mut self,
        context: &str,
        (at, next): (Timestamp, Timestamp),
        why: &str,
    ) -> Result<(), StoreError> {
        query(
            "UPDATE lti_grade SET next_at = $3, why = $4
             WHERE context = $1 AND state = 'waiting' AND next_at <= $2 AND taken_until <= $2",
        )
        .bind(context)
        .bind(at.as_millisecond())
        .bind(next.as_millisecond())
        .bind(why)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The same of some students alone, by their keys. Says how many grades that are.
    pub async fn put_off_of(
        &mut self,
        (context, students): (&str, &[&str]),
        (at, next): (Timestamp, Timestamp),
        why: &str,
    ) -> Result<u64, StoreError> {
        let students =
            serde_json::to_string(students).map_err(|why| StoreError::damaged("keys", why))?;
        let put = query(
            "UPDATE lti_grade SET next_at = $3, why = $4
             WHERE context = $1 AND state = 'waiting' AND next_at <= $2 AND taken_until <= $2
                 AND student IN (SELECT value FROM json_each($5))",
        )
        .bind(context)
        .bind(at.as_millisecond())
        .bind(next.as_millisecond())
        .bind(why)
        .bind(students);
        Ok(put.execute(&mut *self.0).await?)
    }

    /// Has grades tried at once that wait or were refused: one, or all of them.
    pub async fn try_now(&mut self, id: Option<i64>, at: Timestamp) -> Result<u64, StoreError> {
        let put = query(
            "UPDATE lti_grade SET state = 'waiting', tries = 0, next_at = CASE WHEN taken_until > $2 THEN taken_until ELSE $2 END
             WHERE state IN ('waiting', 'refused') AND id = coalesce($1, id)",
        );
        let put = put.bind(id).bind(at.as_millisecond());
        Ok(put.execute(&mut *self.0).await?)
    }

    /// Where the column of an experiment is, if that is known.
    pub async fn line_item(
        &mut self,
        context: &str,
        experiment: &str,
    ) -> Result<Option<String>, StoreError> {
        let address = query_scalar(
            "SELECT address FROM lti_line_item WHERE context = $1 AND experiment = $2 AND address <> ''",
        );
        let address = address.bind(context).bind(experiment);
        Ok(address.fetch_optional(&mut *self.0).await?)
    }

    /// Says that somebody looks for a column or makes it until then; false where somebody else does, or it is known.
    pub async fn take_line_item(
        &mut self,
        (context, experiment): (&str, &str),
        (at, until): (Timestamp, Timestamp),
    ) -> Result<bool, StoreError> {
        let taken = query(
            "INSERT INTO lti_line_item (context, experiment, address, taken_until) VALUES ($1, $2, '', $4)
             ON CONFLICT (context, experiment) DO UPDATE SET taken_until = $4
             WHERE lti_line_item.address = '' AND lti_line_item.taken_until <= $3",
        )
        .bind(context)
        .bind(experiment)
        .bind(at.as_millisecond())
        .bind(until.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(taken == 1)
    }

    pub async fn keep_line_item(
        &mut self,
        context: &str,
        experiment: &str,
        address: &str,
    ) -> Result<(), StoreError> {
        let kept = query(
            "UPDATE lti_line_item SET address = $3, taken_until = 0 WHERE context = $1 AND experiment = $2",
        );
        let kept = kept.bind(context).bind(experiment).bind(address);
        kept.execute(&mut *self.0).await?;
        Ok(())
    }

    /// Knows no more where a column is: it is looked for again.
    pub async fn forget_line_item(
        &mut self,
        context: &str,
        experiment: &str,
    ) -> Result<(), StoreError> {
        let gone = query("DELETE FROM lti_line_item WHERE context = $1 AND experiment = $2");
        let gone = gone.bind(context).bind(experiment);
        gone.execute(&mut *self.0).await?;
        Ok(())
    }
}

fn read(row: &Row) -> Result<Grade, StoreError> {
    let sent: Option<i64> = row.try_get("sent_at")?;
    let at = |name: &'static str| instant(row.try_get(name)?, name);
    Ok(Grade {
        id: row.try_get("id")?,
        wanted: Wanted {
            context: row.try_get("context")?,
            experiment: row.try_get("experiment")?,
            student: row.try_get("student")?,
            points: row.try_get("points")?,
            possible: row.try_get("possible")?,
            settled: row.try_get::<i64>("settled")? != 0,
        },
        version: row.try_get("version")?,
        changed_at: at("changed_at")?,
        state: state_of(row)?,
        tries: row.try_get("tries")?,
        next_at: at("next_at")?,
        taken_until: at("taken_until")?,
        stamped_at: at("stamped_at")?,
        sent_at: sent
            .map(|at| instant(at, "lti_grade.sent_at"))
            .transpose()?,
        sent_points: row.try_get("sent_points")?,
        why: row.try_get("why")?,
    })
}
