//! A department in a database: a course that is put by goes on being read where it counts as an earlier term, and a student
//! and a member of staff of two courses are one person, as in a folder.

use std::collections::BTreeSet;
use std::path::Path;

use concordant::course::{Course, StaffMember, StaffRole, Standing, Zone};
use concordant::desk::accounts::By;
use concordant::desk::department::Department;
use concordant::desk::{Desk, hand_in};
use concordant::files::shipped_glassware;
use concordant::ids::CourseKey;
use concordant::language::Language;
use concordant::store::{Shelf, first_difference};
use concordant::term::Term;

use crate::cluster::Cluster;
use crate::engine::{Engine, course, request};

fn named(title: &str) -> Course {
    Course {
        title: title.to_owned(),
        term: String::new(),
        zone: Zone::new("UTC").expect("a zone"),
        language: Language::default(),
    }
}

async fn opened(department: &Department, key: &CourseKey) -> Desk {
    let desk = department.desk(key).await.expect("reads");
    desk.expect("a course")
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_put_by_is_read_and_two_are_one() {
    let Some(cluster) = Cluster::start().await else {
        return;
    };
    let file = Engine::file();
    let desk = course(&file, 3).await;
    for n in 0..3 {
        let one = request(&format!("k{n}"), &format!("key {n}"), 0, "20.40");
        hand_in(&desk, one).await.expect("a receipt");
    }
    desk.close().await;
    let now = jiff::Timestamp::now();
    let shelf = Shelf::at(Path::new(&cluster.url())).await.expect("a place");
    let founded = Department::found(shelf.clone(), named("Quell College"), now).await;
    founded.expect("founded");
    let department = Department::open(shelf, now).await.expect("a department");
    let (old, new, other) = (
        CourseKey::new("old"),
        CourseKey::new("new"),
        CourseKey::new("other"),
    );
    for key in [&old, &new] {
        let taken = department.take_in(&file.path(), key, now).await;
        taken.expect("taken in");
    }
    let who = ("test", now);
    department
        .set_standing(&old, Standing::Closed, who)
        .await
        .expect("closed");
    department.archive(&old, who).await.expect("put by");
    let earlier = BTreeSet::from([old.clone()]);
    department
        .set_earlier_terms(&new, earlier, who)
        .await
        .expect("said");
    let put_by = department.all_put_by().await.expect("read");
    assert_eq!(put_by.len(), 1);
    assert!(put_by[0].lists.is_ok(), "{put_by:?}");
    let desk = opened(&department, &new).await;
    let image = desk.view().await.expect("a course");
    let beside = department.beside_earlier(&new, &image).await.expect("read");
    assert_eq!((beside.hand_ins, beside.unread.len()), (3, 0));
    drop(image);
    desk.close().await;
    assert!(department.desk(&old).await.expect("reads").is_none());

    let coordinator = StaffMember {
        login: "q.ashby".into(),
        name: "Quinn Ashby".into(),
        role: StaffRole::Coordinator,
        sections: Vec::new(),
    };
    let empty = Term::new(named("Another"), shipped_glassware());
    let begun = department.begin(&other, empty, coordinator, who).await;
    begun.expect("begun");
    let joined = department
        .join(("k0", "q.ashby"), By::COMMAND_LINE, now)
        .await;
    joined.expect("read").expect("one person");
    let joined = department.joined().await.expect("read");
    assert_eq!(joined.len(), 1);
    assert!(
        department
            .part("q.ashby", By::COMMAND_LINE, now)
            .await
            .expect("read")
    );
    assert!(department.joined().await.expect("read").is_empty());
    let mut reader = department.people().store().read().await.expect("reads");
    let difference = first_difference(&mut reader).await.expect("read");
    assert_eq!(difference, None);
}
