//! Hand-ins of a course beside those of its earlier terms, which whoever runs the department has named.
//!
//! Nothing of it is in a judgement or on disk: a course is one file, which verifies alone. It is worked out when somebody
//! asks, and kept until one of the courses changes. Earlier courses are read one after the other and let go of; what their
//! hand-ins say stays for the courses asked for last, up to [`MOST_HAND_INS`].

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use jiff::Timestamp;

use super::{Department, Lists, apart};
use crate::changes::{Change, SetEarlierTerms};
use crate::desk::{FileTexts, Image};
use crate::ids::{CourseKey, StudentId};
use crate::store::{Shelf, Store, StoreError, load_stored, newest, student_keys};
use crate::term::{EarlierTerms, SharedEarlier, Term};

/// So many hand-ins of earlier terms are held at most, some 3 kB each.
const MOST_HAND_INS: usize = 5_000;
/// Of so many courses it is held what was found.
const MOST_COURSES: usize = 64;

/// A course that counts as an earlier term of another.
#[derive(Clone, Debug)]
pub struct EarlierCourse {
    pub key: CourseKey,
    /// None where it is put by and cannot be read: then nothing is compared with it.
    pub lists: Option<Arc<Lists>>,
    /// Whether nobody is served from it.
    pub is_put_by: bool,
    /// Why it is not read, in words.
    pub unread: Option<&'static str>,
}

/// What hand-ins of a course share with those of its earlier terms.
#[derive(Debug)]
pub struct BesideEarlier {
    /// As of which change of the course.
    of: i64,
    /// Which courses were read, as of which change of each.
    with: BTreeMap<CourseKey, i64>,
    /// How many hand-ins of earlier terms they were laid beside.
    pub hand_ins: usize,
    pub found: Vec<SharedEarlier>,
    /// Courses that are put by and of which what was handed in cannot be read.
    pub unread: BTreeSet<CourseKey>,
}

/// What is kept of it.
#[derive(Default)]
pub(super) struct Kept {
    found: Mutex<BTreeMap<CourseKey, Arc<BesideEarlier>>>,
    /// What the courses asked for last are laid beside, the newest first. Whoever works it out holds it, so that one
    /// earlier course at a time is read for this; nobody else waits for it.
    gathered: tokio::sync::Mutex<Vec<(CourseKey, Gathered)>>,
}

#[derive(Clone)]
struct Gathered {
    with: BTreeMap<CourseKey, i64>,
    unread: BTreeSet<CourseKey>,
    terms: Arc<EarlierTerms>,
}

impl Kept {
    fn found(&self) -> MutexGuard<'_, BTreeMap<CourseKey, Arc<BesideEarlier>>> {
        // what is in it was whole before it was put there
        self.found.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Department {
    /// The courses that count as earlier terms of one, in order of their keys; none unless somebody has said so.
    pub async fn earlier_terms(&self, key: &CourseKey) -> Result<Vec<EarlierCourse>, StoreError> {
        let people = self.people.look().await?;
        let said = people.term.earlier_terms.get(key);
        let courses = self.courses().await?;
        let mut earlier = Vec::new();
        for key in said.into_iter().flatten() {
            let served = courses.iter().find(|one| one.0 == *key);
            earlier.push(match served {
                Some((key, lists, _)) => EarlierCourse {
                    key: key.clone(),
                    lists: Some(Arc::clone(lists)),
                    is_put_by: false,
                    unread: None,
                },
                None => self.put_by(key).await?.into(),
            });
        }
        Ok(earlier)
    }

    /// Says which courses count as earlier terms of one.
    pub async fn set_earlier_terms(
        &self,
        key: &CourseKey,
        earlier: BTreeSet<CourseKey>,
        (login, at): (&str, Timestamp),
    ) -> Result<(), StoreError> {
        let course = key.clone();
        let decided = |image: Option<&Image>| {
            let held = image.and_then(|image| image.term.earlier_terms.get(&course));
            if held.map_or(earlier.is_empty(), |held| *held == earlier) {
                return Ok::<_, StoreError>(Vec::new());
            }
            let change = SetEarlierTerms { course, earlier };
            Ok(vec![Change::EarlierTerms(change)])
        };
        self.people.apply_if(login, at, decided).await.map(|_| ())
    }

    /// What hand-ins of a course, as somebody found it, share with those of its earlier terms beyond chance.
    pub async fn beside_earlier(
        &self,
        key: &CourseKey,
        image: &Arc<Image>,
    ) -> Result<Arc<BesideEarlier>, StoreError> {
        let mut with = BTreeMap::new();
        for course in self.earlier_terms(key).await? {
            let newest = match &course.lists {
                Some(lists) if course.is_put_by => Some(lists.newest),
                Some(_) => newest_of(&self.shelf, &course.key).await?,
                None => None,
            };
            with.extend(newest.map(|newest| (course.key, newest)));
        }
        if let Some(held) = self.held_of(key, image, &with) {
            return Ok(held);
        }
        let mut kept = self.earlier.gathered.lock().await;
        // somebody else may have worked it out meanwhile
        if let Some(held) = self.held_of(key, image, &with) {
            return Ok(held);
        }
        let held = kept.iter().position(|(course, _)| course == key);
        let held = held.map(|place| kept.remove(place).1);
        let of_these = |held: &Gathered| held.with == with && held.terms.is_wanted_by(&image.term);
        let gathered = match held.filter(of_these) {
            Some(held) => held,
            None => gather(&self.shelf, &with, image).await?,
        };
        let (terms, own) = (Arc::clone(&gathered.terms), Arc::clone(image));
        let found = tokio::task::spawn_blocking(move || terms.shared_with(&own.term));
        let beside = Arc::new(BesideEarlier {
            of: image.newest(),
            with: gathered.with.clone(),
            hand_ins: gathered.terms.hand_ins(),
            found: found.await.map_err(StoreError::broken_off)?,
            unread: gathered.unread.clone(),
        });
        kept.insert(0, (key.clone(), gathered));
        keep_few(&mut kept);
        let mut found = self.earlier.found();
        if found.len() >= MOST_COURSES && !found.contains_key(key) {
            found.pop_first();
        }
        found.insert(key.clone(), Arc::clone(&beside));
        Ok(beside)
    }

    fn held_of(
        &self,
        key: &CourseKey,
        image: &Image,
        with: &BTreeMap<CourseKey, i64>,
    ) -> Option<Arc<BesideEarlier>> {
        let held = self.earlier.found().get(key).cloned();
        held.filter(|held| held.of == image.newest() && held.with == *with)
    }
}

/// Lets go of what was asked for the longest ago.
fn keep_few(kept: &mut Vec<(CourseKey, Gathered)>) {
    let mut hand_ins = 0_usize;
    kept.retain(|(_, one)| {
        hand_ins = hand_ins.saturating_add(one.terms.hand_ins());
        hand_ins <= MOST_HAND_INS
    });
}

/// What was handed in in earlier courses, one after the other.
async fn gather(
    shelf: &Shelf,
    with: &BTreeMap<CourseKey, i64>,
    image: &Image,
) -> Result<Gathered, StoreError> {
    let mut terms = EarlierTerms::wanted_by(&image.term);
    let (mut read, mut unread) = (BTreeMap::new(), BTreeSet::new());
    for (key, known) in with {
        let (shelf, course) = (shelf.clone(), key.clone());
        let added = apart(move || async move {
            let newest = match earlier_course(&shelf, &course).await? {
                Some((term, newest, gone)) => {
                    terms.add(&course, &term, &gone);
                    Some(newest)
                }
                None => None,
            };
            Ok::<_, StoreError>((terms, newest))
        });
        let newest;
        (terms, newest) = added.await??;
        if newest.is_none() {
            unread.insert(key.clone());
        }
        read.insert(key.clone(), newest.unwrap_or(*known));
    }
    Ok(Gathered {
        with: read,
        unread,
        terms: Arc::new(terms),
    })
}

/// A course as it stands, with the newest change and those of whom it is no longer known who they are.
type Stands = (Term, i64, BTreeSet<StudentId>);

/// A course, wherever it stands; none where it is put by and cannot be read.
async fn earlier_course(shelf: &Shelf, key: &CourseKey) -> Result<Option<Stands>, StoreError> {
    if shelf.holds(key).await? {
        let store = shelf.open(key).await?;
        let read = as_it_stands(&store).await;
        store.close().await;
        return read.map(Some);
    }
    let read = async {
        let Some(archived) = shelf.archived(key).await? else {
            return Ok(None);
        };
        let read = as_it_stands(&archived.store).await;
        archived.close().await;
        read.map(Some)
    };
    match read.await {
        Err(why) if !why.is_away() => {
            tracing::warn!(course = %key, error = %why, "a course that is put by cannot be read");
            Ok(None)
        }
        read => read,
    }
}

async fn as_it_stands(store: &Store) -> Result<Stands, StoreError> {
    let mut reader = store.read().await?;
    let stored = load_stored(&mut reader, &FileTexts).await?;
    let keys = student_keys(&mut reader).await?;
    drop(reader);
    // a key stands for the number of whoever was taken out
    let gone = keys.into_iter().filter(|(number, key)| **number == **key);
    let gone = gone.map(|(number, _)| number).collect();
    Ok((stored.term, stored.newest, gone))
}

/// Number of the newest change of a course; none if it has just been put by.
async fn newest_of(shelf: &Shelf, key: &CourseKey) -> Result<Option<i64>, StoreError> {
    let (shelf, key) = (shelf.clone(), key.clone());
    let found = apart(move || async move {
        if !shelf.holds(&key).await? {
            return Ok(None);
        }
        let store = shelf.open(&key).await?;
        let newest = newest(&mut *store.read().await?).await;
        store.close().await;
        newest.map(Some)
    });
    found.await?
}
