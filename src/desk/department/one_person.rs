//! A student of one course who is on the staff of another: one person with one login, once whoever runs the department says
//! so. Nothing else makes them one, neither equal texts nor what a coordinator enters.

use jiff::Timestamp;

use super::{Department, Lists, as_member, as_of_department, runs};
use crate::changes::{Bond, Change, SetOnePerson};
use crate::course::{StaffMember, Student};
use crate::desk::Image;
use crate::desk::accounts::{AccountId, By, Kind};
use crate::desk::sessions::end_sessions_of;
use crate::store::StoreError;

/// A student and a member of staff who may be one person.
#[derive(Clone, Debug)]
pub struct Pair {
    pub student: Student,
    pub member: StaffMember,
    /// Titles of the courses in which they are a student.
    pub studies: Vec<String>,
    /// Titles of the courses on whose staff they are.
    pub serves: Vec<String>,
    /// Whether the login of staff lets them in already: a password is set.
    pub has_password: bool,
}

/// Somebody who is said to be one person.
#[derive(Clone, Debug)]
pub struct Joined {
    pub number: String,
    pub login: String,
    pub name: String,
    pub has_password: bool,
}

/// Why two are not made one: of which of the two, and a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NotOne {
    Number(String),
    Login(String),
}

impl Department {
    /// Those who are one person, by their logins.
    pub async fn joined(&self) -> Result<Vec<Joined>, StoreError> {
        let with_password = self.staff_with_password().await?;
        let people = self.people.look().await?;
        let joined = people.term.one_person.iter().map(|(number, login)| {
            let mut staff = people.term.staff.iter();
            let member = staff.find(|one| one.login.eq_ignore_ascii_case(login));
            Joined {
                number: number.to_string(),
                login: login.clone(),
                name: member.map(|one| one.name.clone()).unwrap_or_default(),
                has_password: with_password.iter().any(|one| one == login),
            }
        });
        let mut joined: Vec<Joined> = joined.collect();
        joined.sort_by(|a, b| a.login.cmp(&b.login));
        Ok(joined)
    }

    /// Numbers of students that are a login of staff in another course too, and of whom it is not said that they are one
    /// person: only one of the two can sign in.
    pub async fn same_texts(&self) -> Result<Vec<String>, StoreError> {
        let people = self.people.look().await?;
        let all = self.all_lists();
        let mut same: Vec<String> = Vec::new();
        for member in all.iter().flat_map(|lists| &lists.staff) {
            let mut students = all.iter().flat_map(|lists| lists.enrolled());
            let student = students.find(|one| one.id.eq_ignore_ascii_case(&member.login));
            let open = student.filter(|one| people.term.login_of_student(&one.id).is_none());
            let number = open.map(|one| one.id.to_string());
            same.extend(number.filter(|number| !same.contains(number)));
        }
        same.sort();
        Ok(same)
    }

    /// A student and a member of staff, where they can be one person.
    pub async fn pair(
        &self,
        number: &str,
        login: &str,
    ) -> Result<Result<Pair, NotOne>, StoreError> {
        let people = self.people.look().await?;
        let all = self.all_lists();
        let students = all.iter().flat_map(|lists| lists.enrolled());
        let mut called = students.filter(|one| one.id == *number);
        let Some(student) = called.next() else {
            return Ok(Err(NotOne::Number(format!(
                "found {number}, expected the number of a student of a course here"
            ))));
        };
        let members = all.iter().flat_map(|lists| &lists.staff);
        let mut called = members.filter(|one| one.login.eq_ignore_ascii_case(login));
        let Some(member) = called.next() else {
            return Ok(Err(NotOne::Login(format!(
                "found {login}, expected a login of the staff of a course here"
            ))));
        };
        let both = all.iter().find(|lists| lists.has_both(number, login));
        if let Some(course) = both {
            return Ok(Err(NotOne::Login(format!(
                "found {login} on the staff of {}, in which {number} is a student, expected two courses: nobody is both in one",
                course.title("a course")
            ))));
        }
        if let Some(why) = stands_in_the_way(&people.term, number, login) {
            return Ok(Err(why));
        }
        if let Some(why) = self.is_closed(number, &member.login).await? {
            return Ok(Err(why));
        }
        let titles = |is_there: &dyn Fn(&Lists) -> bool| {
            let own = all.iter().filter(|lists| is_there(lists));
            own.map(|lists| lists.title("")).collect()
        };
        let with_password = self.staff_with_password().await?;
        Ok(Ok(Pair {
            studies: titles(&|lists| lists.enrolled().any(|one| one.id == *number)),
            serves: titles(&|lists| lists.member(login).is_some()),
            has_password: with_password
                .iter()
                .any(|one| one.eq_ignore_ascii_case(login)),
            student: student.clone(),
            member: member.clone(),
        }))
    }

    /// Says that they are one person. What let the student in lets nobody in any more: it may have been given by people who
    /// may give nobody a way in as staff.
    pub async fn join(
        &self,
        (number, login): (&str, &str),
        by: By<'_>,
        at: Timestamp,
    ) -> Result<Result<Pair, NotOne>, StoreError> {
        let pair = match self.pair(number, login).await? {
            Ok(pair) => pair,
            Err(why) => return Ok(Err(why)),
        };
        let people = self.people.look().await?;
        let mut changes = Vec::new();
        let is_known = people
            .term
            .student(number)
            .is_some_and(Student::is_enrolled);
        if !is_known {
            // kept out so far by the login
            changes.push(Change::Student(as_of_department(&pair.student)));
        }
        let mut staff = people.term.staff.iter();
        let member = staff.find(|one| one.login.eq_ignore_ascii_case(login));
        if member.is_none() {
            changes.push(Change::Staff(as_member(&pair.member)));
        }
        let login = member.map_or_else(|| pair.member.login.clone(), |one| one.login.clone());
        changes.push(Change::OnePerson(SetOnePerson {
            student: pair.student.id.clone(),
            login: login.clone(),
            now: Bond::Joined,
        }));
        drop(people);
        let decided = |image: Option<&Image>| {
            let image = image.ok_or(StoreError::NoCourse)?;
            // somebody else may have said something meanwhile
            let stands = stands_in_the_way(&image.term, number, &login);
            Ok::<_, StoreError>(if stands.is_some() {
                Vec::new()
            } else {
                changes
            })
        };
        self.people.apply_if(by.login, at, decided).await?;
        let people = self.people.look().await?;
        if people.term.login_of_student(number) != Some(login.as_str()) {
            let what = format!("found {number} said to be somebody else by now, expected nobody");
            return Ok(Err(NotOne::Number(what)));
        }
        drop(people);
        let id = AccountId {
            kind: Kind::Student,
            login: number.to_owned(),
        };
        // those that are in memory alone, too
        end_sessions_of(&self.people, &id, by, at).await?;
        Ok(Ok(pair))
    }

    /// Says that they are two people again, and lets in neither by what let in the one; false where nobody has said that they
    /// are one.
    pub async fn part(&self, login: &str, by: By<'_>, at: Timestamp) -> Result<bool, StoreError> {
        let people = self.people.look().await?;
        let Some(student) = people.term.number_of_staff(login).cloned() else {
            return Ok(false);
        };
        drop(people);
        let parted = Change::OnePerson(SetOnePerson {
            student,
            login: login.to_owned(),
            now: Bond::Parted,
        });
        self.people.apply(vec![parted], by.login, at).await?;
        let id = AccountId {
            kind: Kind::Staff,
            login: login.to_owned(),
        };
        end_sessions_of(&self.people, &id, by, at).await?;
        self.take_over(at).await?;
        Ok(true)
    }

    async fn staff_with_password(&self) -> Result<Vec<String>, StoreError> {
        let mut reader = self.people.store().read().await?;
        let logins = reader.accounts().with_password(Kind::Staff).await?;
        Ok(logins.into_iter().collect())
    }

    /// An account that was closed is not opened by being another's.
    async fn is_closed(&self, number: &str, login: &str) -> Result<Option<NotOne>, StoreError> {
        let mut reader = self.people.store().read().await?;
        for (kind, name) in [(Kind::Student, number), (Kind::Staff, login)] {
            let id = AccountId {
                kind,
                login: name.to_owned(),
            };
            let held = reader.accounts().account(&id).await?;
            if held.is_some_and(|held| held.disabled) {
                let what =
                    format!("found {name}, whose account is closed, expected one that is open");
                return Ok(Some(match kind {
                    Kind::Student => NotOne::Number(what),
                    Kind::Staff => NotOne::Login(what),
                }));
            }
        }
        Ok(None)
    }
}

/// What is known of the logins that makes it wrong to say that they are one person's.
fn stands_in_the_way(people: &crate::term::Term, number: &str, login: &str) -> Option<NotOne> {
    if let Some(other) = people.login_of_student(number) {
        let what = format!(
            "found {number}, who signs in as {other} already, expected a student with no login of staff"
        );
        return Some(NotOne::Number(what));
    }
    if let Some(other) = people.number_of_staff(login) {
        let what = format!(
            "found {login}, who is the student {other} already, expected a login with no student"
        );
        return Some(NotOne::Login(what));
    }
    let member = |login: &str| {
        let mut staff = people.staff.iter();
        staff.find(|one| one.login.eq_ignore_ascii_case(login))
    };
    if member(login).is_some_and(runs) {
        let what =
            format!("found {login}, who runs the department, expected somebody who does not");
        return Some(NotOne::Login(what));
    }
    let is_same = number.eq_ignore_ascii_case(login);
    let mut students = people.students.iter().filter(|one| one.is_enrolled());
    if !is_same && students.any(|one| one.id.eq_ignore_ascii_case(login)) {
        let what = format!(
            "found {login}, which is another student\u{2019}s number, expected a login of staff alone"
        );
        return Some(NotOne::Login(what));
    }
    if !is_same && member(number).is_some() {
        let what = format!(
            "found {number}, which is a login of somebody else, expected the number of a student alone"
        );
        return Some(NotOne::Number(what));
    }
    None
}
