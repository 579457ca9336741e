//! What a platform is to be told: what it was told last, beside the course as it is.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::desk::Image;
use crate::desk::lti::members::learners;
use crate::desk::lti::{LinkedContext, courses_of, know_learners};
use crate::desk::outgoing::Place;
use crate::ids::StudentId;
use crate::store::lti::{Grade, Wanted};
use crate::store::{SendState, StoreError, Transaction, newest, student_keys};
use crate::term::Status;

/// Courses of platforms that take grades, each with who students are there.
pub(super) type Takers = Vec<(LinkedContext, BTreeMap<String, String>)>;

/// Context, experiment, student's key.
type Key = (String, String, String);

/// Queues what follows from the course since it was last compared. Says where grades go; nowhere, unless that is wanted.
pub(super) async fn queue_new(place: Place<'_>, at: Timestamp) -> Result<Takers, StoreError> {
    let desk = place.desk;
    let image = desk.look().await?;
    let mut reader = desk.store().read().await?;
    let wanted = reader.grades().is_wanted().await?;
    let since = reader.grades().gone_through().await?;
    let until = newest(&mut reader).await?.min(image.newest());
    drop(reader);
    if !wanted {
        return Ok(Takers::new());
    }
    let (takers, came) = takers(place, at).await?;
    if (until <= since && !came) || takers.is_empty() {
        return Ok(takers);
    }
    let mut transaction = desk.store().write().await?;
    if transaction.grades().gone_through().await? > until {
        // somebody else compared a later course meanwhile, perhaps without whoever is known only now
        if came {
            transaction.grades().begin_anew().await?;
        }
        transaction.commit().await?;
        return Ok(takers);
    }
    compare(&mut transaction, (&image, &takers), at).await?;
    transaction.grades().go_through(until).await?;
    transaction.commit().await?;
    Ok(takers)
}

/// And whether somebody is known by now who was not before.
async fn takers(place: Place<'_>, at: Timestamp) -> Result<(Takers, bool), StoreError> {
    let mut takers = Takers::new();
    let mut came = false;
    for context in courses_of(place.people, place.course).await? {
        if context.context.takes_grades() {
            came |= know_learners(place.people, &context, at).await? > 0;
            let members = learners(place.people, &context.name).await?;
            takers.push((context, members));
        }
    }
    Ok((takers, came))
}

async fn compare(
    transaction: &mut Transaction,
    (image, takers): (&Image, &Takers),
    at: Timestamp,
) -> Result<(), StoreError> {
    let keys = student_keys(&mut *transaction).await?;
    let wanted = wanted(image, takers, &keys);
    let mut grades = transaction.grades();
    let mut held: BTreeMap<Key, Grade> = BTreeMap::new();
    for grade in grades.all().await? {
        held.insert(key(&grade.wanted), grade);
    }
    for (key, wanted) in &wanted {
        let same = held
            .get(key)
            .is_some_and(|grade| grade.wanted == *wanted && grade.state != SendState::Dropped);
        if !same {
            grades.put(wanted, at).await?;
        }
    }
    for (key, grade) in held {
        if wanted.contains_key(&key) || grade.wanted.points.is_none() {
            continue;
        }
        // what may have reached the platform is taken back there
        match grade.stamped_at > Timestamp::UNIX_EPOCH {
            true => {
                let none = Wanted {
                    points: None,
                    ..grade.wanted
                };
                grades.put(&none, at).await?;
            }
            false => {
                let mut others = wanted.keys();
                let goes_elsewhere = others.any(|(_, of, who)| (of, who) == (&key.1, &key.2));
                let why = match goes_elsewhere {
                    true => "it goes to another course of the platform, where the student is",
                    false => "the results were withdrawn before it was sent",
                };
                grades.drop(grade.id, why).await?;
            }
        }
    }
    Ok(())
}

/// What platforms are to show: every grade that a student has by now.
fn wanted(
    image: &Image,
    takers: &Takers,
    keys: &BTreeMap<StudentId, String>,
) -> BTreeMap<Key, Wanted> {
    let mut all = BTreeMap::new();
    for (slot, judged) in &image.judged {
        let Some(experiment) = image.term.experiment(&slot.experiment) else {
            continue;
        };
        // who was taken out is known by the key alone
        let student = keys
            .get(&slot.student)
            .filter(|key| key.as_str() != slot.student.as_str());
        let Some(student) = student.filter(|_| image.is_released_to(slot)) else {
            continue;
        };
        let known = takers
            .iter()
            .filter(|(_, members)| members.contains_key(slot.student.as_str()));
        let mut places: Vec<&str> = known.map(|(context, _)| context.name.as_str()).collect();
        if places.is_empty() {
            // it waits there until the platform says who they are
            places.extend(takers.first().map(|(context, _)| context.name.as_str()));
        }
        for context in places {
            let one = Wanted {
                context: context.to_owned(),
                experiment: slot.experiment.to_string(),
                student: student.clone(),
                points: Some(judged.evaluation.marks.total.to_string()),
                possible: experiment.procedure.marking.possible().to_string(),
                settled: matches!(judged.status, Status::Clear | Status::Settled),
            };
            all.insert(key(&one), one);
        }
    }
    all
}

fn key(wanted: &Wanted) -> Key {
    let Wanted {
        context,
        experiment,
        student,
        ..
    } = wanted;
    (context.clone(), experiment.clone(), student.clone())
}
