//! Handing over what waits: each grade is taken before it is tried, so that of two servers one sends it, and goes with a
//! timestamp later than any that went with it before, so that none can take the place of a later one.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Instant;

use jiff::{SignedDuration, Timestamp};
use rust_decimal::Decimal;

use super::{numbers, queue};
use crate::campus::{Account, Answer, Ask, OwnKey, ServiceFault, Services};
use crate::desk::lti::{LinkedContext, PlatformError, account, platform_of, signing_key};
use crate::desk::outgoing::{Passed, Place};
use crate::desk::waits::{LONGEST_PASS, later, pause};
use crate::ids::StudentId;
use crate::lti::{LineItem, Scope, Score, scores_address};
use crate::store::lti::Grade;
use crate::store::{Reader, StoreError, student_keys};

/// For so long a grade is nobody else's to send.
const TAKEN_FOR: SignedDuration = SignedDuration::from_mins(5);
/// Whoever the platform has not named yet is looked for again after this.
const UNKNOWN_FOR: SignedDuration = SignedDuration::from_mins(5);
/// A column that another server makes is waited for so long.
const COLUMN_FOR: SignedDuration = SignedDuration::from_secs(10);
/// After so many scores in a row that the platform cannot take now, it is held to be away, for so long.
const MOST_IN_A_ROW: usize = 3;
const AWAY_FOR: SignedDuration = SignedDuration::from_mins(1);
/// So many are looked up together.
const AT_ONCE: i64 = 50;
/// What one token for grades is good for.
const SCOPES: [Scope; 2] = [Scope::LineItems, Scope::Scores];

/// A course of a platform that takes grades.
struct Taker<'a> {
    context: &'a LinkedContext,
    members: &'a BTreeMap<String, String>,
    account: Account,
    key: Arc<OwnKey>,
    services: &'a Arc<Services>,
    now: i64,
}

/// What came of one grade.
enum Outcome {
    Sent,
    Refused(String),
    /// The column is not where it was: it is looked for at once.
    Lost,
    /// Another server is making the column: once it is there, this goes into it.
    Column,
    /// The platform is there, and cannot take this one now.
    NotNow(String),
    Away(String),
}

/// Queues what is new, and hands over what is due.
pub async fn pass(
    place: Place<'_>,
    services: &Arc<Services>,
    at: Timestamp,
) -> Result<Passed, StoreError> {
    let mut passed = Passed::default();
    let began = Instant::now();
    let takers = queue::queue_new(place, at).await?;
    if takers.is_empty() {
        return Ok(passed);
    }
    let mut ready: BTreeMap<&str, Result<Taker<'_>, String>> = BTreeMap::new();
    for (context, members) in &takers {
        let taker = match platform_of(place.people, context).await {
            Ok(platform) => account(&platform),
            Err(why) => Err(why),
        };
        let taker = match taker {
            Err(PlatformError::Store(why)) => return Err(why),
            Err(why) => Err(why.to_string()),
            Ok(account) => Ok(Taker {
                context,
                members,
                account,
                key: signing_key(place.people, at).await?,
                services,
                now: at.as_second(),
            }),
        };
        ready.insert(&context.name, taker);
    }
    let mut students = Students::default();
    let mut in_a_row: BTreeMap<&str, usize> = BTreeMap::new();
    loop {
        let mut reader = place.desk.store().read().await?;
        let due = reader.grades().due(at, AT_ONCE).await?;
        students.know(&mut reader, &due).await?;
        drop(reader);
        // courses of which everybody that the platform has not named was put off together
        let mut put_off = BTreeSet::new();
        for grade in &due {
            if services.is_stopping() || began.elapsed() > LONGEST_PASS {
                return Ok(passed);
            }
            let number = students.0.get(&grade.wanted.student);
            let taker = ready.get(grade.wanted.context.as_str());
            match (taker, number) {
                (Some(Ok(taker)), Some(number)) => {
                    let Some(sub) = taker.members.get(number.as_str()) else {
                        if is_of_any(&takers, number) {
                            moved(place, grade, at, &mut passed).await?;
                        } else if put_off.insert(&grade.wanted.context) {
                            let unnamed = students.of_none(&takers);
                            all_unnamed(place, (taker, &unnamed), at, &mut passed).await?;
                        }
                        continue;
                    };
                    let row = in_a_row.entry(&taker.context.name).or_default();
                    match one(place, taker, (grade, sub), at, &mut passed).await? {
                        true => *row += 1,
                        false => *row = 0,
                    }
                    if *row >= MOST_IN_A_ROW {
                        *row = 0;
                        all_wait(place, &taker.context.name, at, &mut passed).await?;
                    }
                }
                (Some(Err(why)), _) => wait(place, grade, at, why, &mut passed).await?,
                (None, _) | (_, None) => {
                    let mut transaction = place.desk.store().write().await?;
                    let why = "it is for a course of the platform, or somebody, that is none of this course any more";
                    transaction.grades().drop(grade.id, why).await?;
                    transaction.commit().await?;
                    passed.dropped += 1;
                }
            }
        }
        if due.is_empty() {
            return Ok(passed);
        }
    }
}

/// Numbers of students by their keys.
#[derive(Default)]
struct Students(BTreeMap<String, StudentId>);

impl Students {
    /// Keys of those whom no course of a platform has named.
    fn of_none(&self, takers: &queue::Takers) -> Vec<&str> {
        let unnamed = self
            .0
            .iter()
            .filter(|(_, number)| !is_of_any(takers, number));
        unnamed.map(|(key, _)| key.as_str()).collect()
    }

    /// Reads them, unless all of these are known.
    async fn know(&mut self, reader: &mut Reader, due: &[Grade]) -> Result<(), StoreError> {
        let is_known = |grade: &Grade| self.0.contains_key(&grade.wanted.student);
        if !due.iter().all(is_known) {
            self.0 = numbers(&student_keys(reader).await?);
        }
        Ok(())
    }
}

fn is_of_any(takers: &queue::Takers, number: &StudentId) -> bool {
    let mut takers = takers.iter();
    takers.any(|(_, members)| members.contains_key(number.as_str()))
}

/// Has everything compared anew: a grade waits in one course of the platform, and whose it is has come from another.
async fn moved(
    place: Place<'_>,
    grade: &Grade,
    at: Timestamp,
    passed: &mut Passed,
) -> Result<(), StoreError> {
    let why = "who this is was launched from another course of the platform";
    let mut transaction = place.desk.store().write().await?;
    let mut grades = transaction.grades();
    let next = later(at, UNKNOWN_FOR);
    grades.not_sent(grade, (Some(next), why)).await?;
    // one that is taken back has no other place to go to
    if grade.wanted.points.is_some() {
        grades.begin_anew().await?;
    }
    passed.put_off += 1;
    transaction.commit().await
}

/// Puts off all that is due in a course of a platform for students whom none has named yet.
async fn all_unnamed(
    place: Place<'_>,
    (taker, students): (&Taker<'_>, &[&str]),
    at: Timestamp,
    passed: &mut Passed,
) -> Result<(), StoreError> {
    let why = "the platform has not said yet who this is there: fetch its members, or wait until they are launched from it";
    let mut transaction = place.desk.store().write().await?;
    let mut grades = transaction.grades();
    let next = later(at, UNKNOWN_FOR);
    let of = (taker.context.name.as_str(), students);
    let many = grades.put_off_of(of, (at, next), why).await?;
    passed.put_off += usize::try_from(many).unwrap_or(usize::MAX);
    transaction.commit().await
}

/// Says that a platform is held to be away, for a while.
async fn all_wait(
    place: Place<'_>,
    context: &str,
    at: Timestamp,
    passed: &mut Passed,
) -> Result<(), StoreError> {
    let why = "the platform cannot be had: it takes no scores now";
    let mut transaction = place.desk.store().write().await?;
    let next = later(at, AWAY_FOR);
    transaction
        .grades()
        .put_off(context, (at, next), why)
        .await?;
    transaction.commit().await?;
    passed.away = Some(why.to_owned());
    Ok(())
}

/// Says that nothing can go to a platform now; all of it waits.
async fn wait(
    place: Place<'_>,
    grade: &Grade,
    at: Timestamp,
    why: &str,
    passed: &mut Passed,
) -> Result<(), StoreError> {
    let next = later(at, pause(grade.tries));
    let mut transaction = place.desk.store().write().await?;
    let mut grades = transaction.grades();
    grades.not_sent(grade, (Some(next), why)).await?;
    let context = &grade.wanted.context;
    grades.put_off(context, (at, next), why).await?;
    passed.put_off += 1;
    passed.away = Some(why.to_owned());
    transaction.commit().await
}

/// Says whether the platform is there and cannot take this one now.
async fn one(
    place: Place<'_>,
    taker: &Taker<'_>,
    (grade, sub): (&Grade, &str),
    at: Timestamp,
    passed: &mut Passed,
) -> Result<bool, StoreError> {
    let mut transaction = place.desk.store().write().await?;
    let after = later(grade.stamped_at, SignedDuration::from_millis(1));
    let stamp = at.max(after);
    let until = later(at, TAKEN_FOR);
    if !transaction.grades().take(grade, stamp, until).await? {
        transaction.abandon().await?;
        return Ok(false);
    }
    transaction.commit().await?;
    let score = score(grade, sub, stamp)?;
    let outcome = tried(place, taker, (grade, &score), at).await?;
    let mut transaction = place.desk.store().write().await?;
    let mut grades = transaction.grades();
    let not_now = matches!(outcome, Outcome::NotNow(_));
    match outcome {
        Outcome::Sent => {
            grades.sent(grade, at).await?;
            passed.sent += 1;
        }
        Outcome::Lost if grade.tries == 0 => {
            let context = &grade.wanted.context;
            let experiment = &grade.wanted.experiment;
            grades.forget_line_item(context, experiment).await?;
            let why = "its column is not where it was";
            grades.not_sent(grade, (Some(at), why)).await?;
            passed.put_off += 1;
        }
        Outcome::Column => {
            let why = "its column is being made";
            let next = later(at, COLUMN_FOR);
            grades.not_sent(grade, (Some(next), why)).await?;
            passed.put_off += 1;
        }
        Outcome::Lost => {
            let why = ServiceFault::Refused(404).to_string();
            grades.not_sent(grade, (None, &why)).await?;
            passed.refused += 1;
        }
        Outcome::Refused(why) => {
            grades.not_sent(grade, (None, &why)).await?;
            passed.refused += 1;
        }
        Outcome::NotNow(why) => {
            let next = later(at, pause(grade.tries));
            grades.not_sent(grade, (Some(next), &why)).await?;
            passed.put_off += 1;
            passed.away = Some(why);
        }
        Outcome::Away(why) => {
            transaction.abandon().await?;
            wait(place, grade, at, &why, passed).await?;
            return Ok(false);
        }
    }
    transaction.commit().await?;
    Ok(not_now)
}

fn score(grade: &Grade, sub: &str, stamp: Timestamp) -> Result<Score, StoreError> {
    let points = |text: &str| {
        let read = text.parse::<Decimal>();
        read.map_err(|why| StoreError::damaged("lti_grade.points", why))
    };
    let wanted = &grade.wanted;
    Ok(Score {
        sub: sub.to_owned(),
        given: wanted.points.as_deref().map(points).transpose()?,
        possible: points(&wanted.possible)?,
        settled: wanted.settled,
        at: stamp,
    })
}

/// Finds the column or makes it, and sends the score there.
async fn tried(
    place: Place<'_>,
    taker: &Taker<'_>,
    (grade, score): (&Grade, &Score),
    at: Timestamp,
) -> Result<Outcome, StoreError> {
    let wanted = &grade.wanted;
    let mut reader = place.desk.store().read().await?;
    let held = reader
        .grades()
        .line_item(&wanted.context, &wanted.experiment)
        .await?;
    drop(reader);
    let was_held = held.is_some();
    let item = match held {
        Some(item) => item,
        None => match column(place, taker, grade, (score.possible, at)).await? {
            Ok(item) => item,
            Err(why) => return Ok(why),
        },
    };
    let address = scores_address(&item);
    let sent = taker
        .ask(&address, Score::KIND, Some(score.written()))
        .await;
    Ok(match sent {
        Ok(_) => Outcome::Sent,
        Err(ServiceFault::Refused(404)) if was_held => Outcome::Lost,
        Err(why @ ServiceFault::NotNow(_)) => Outcome::NotNow(why.to_string()),
        Err(why) => outcome(why),
    })
}

/// The column of an experiment: found by what it is called between the two, so that it is not made twice; of two servers
/// one looks for it.
async fn column(
    place: Place<'_>,
    taker: &Taker<'_>,
    grade: &Grade,
    (possible, at): (Decimal, Timestamp),
) -> Result<Result<String, Outcome>, StoreError> {
    let wanted = &grade.wanted;
    let (context, experiment) = (wanted.context.as_str(), wanted.experiment.as_str());
    let mut transaction = place.desk.store().write().await?;
    let time = (at, later(at, TAKEN_FOR));
    let mut grades = transaction.grades();
    if !grades.take_line_item((context, experiment), time).await? {
        transaction.abandon().await?;
        return Ok(Err(Outcome::Column));
    }
    transaction.commit().await?;
    let image = place.desk.look().await?;
    let of = image.term.experiment(experiment);
    let item = LineItem {
        label: of.map_or_else(|| experiment.to_owned(), |one| one.procedure.title.clone()),
        resource: experiment.to_owned(),
    };
    let address = taker.column(&item, possible).await;
    let mut transaction = place.desk.store().write().await?;
    let mut grades = transaction.grades();
    match &address {
        Ok(address) => grades.keep_line_item(context, experiment, address).await?,
        Err(_) => grades.forget_line_item(context, experiment).await?,
    }
    transaction.commit().await?;
    Ok(address.map_err(|why| match why {
        PlatformError::Service(why) => outcome(why),
        why => Outcome::Refused(why.to_string()),
    }))
}

fn outcome(why: ServiceFault) -> Outcome {
    match why {
        // another time, or when somebody has put right who we are there
        ServiceFault::Away(_) | ServiceFault::NotNow(_) | ServiceFault::NoToken(_) => {
            Outcome::Away(why.to_string())
        }
        ServiceFault::Refused(_) | ServiceFault::Form(_) => Outcome::Refused(why.to_string()),
    }
}

impl Taker<'_> {
    /// The address of a column: of one that is there, or of a new one.
    async fn column(&self, item: &LineItem, possible: Decimal) -> Result<String, PlatformError> {
        let line_items = &self.context.context.line_items;
        let address = LineItem::looked_for(line_items, &item.resource);
        let answer = self.ask(&address, LineItem::SEVERAL, None).await?;
        if let Some(found) = LineItem::found(&answer.body, &item.resource, line_items)? {
            return Ok(found);
        }
        let body = item.made_by(possible);
        let answer = self.ask(line_items, LineItem::KIND, Some(body)).await?;
        Ok(LineItem::made(&answer.body, line_items)?)
    }

    async fn ask(
        &self,
        address: &str,
        kind: &'static str,
        body: Option<String>,
    ) -> Result<Answer, ServiceFault> {
        let ask = Ask {
            address: address.to_owned(),
            kind,
            body,
            scopes: SCOPES.map(Scope::name).join(" "),
        };
        self.services
            .ask(&self.account, &self.key, ask, self.now)
            .await
    }
}
