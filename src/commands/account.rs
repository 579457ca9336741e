//! `add-coordinator`.

use std::path::Path;
use std::sync::Arc;

use jiff::Timestamp;

use super::{Failure, expect_file, open_or_make};
use crate::changes::Change;
use crate::course::{StaffMember, StaffRole};
use crate::desk::department::Department;
use crate::desk::{Desk, accounts};
use crate::ids::CourseKey;
use crate::store::Shelf;
use crate::words::counted;

/// Puts a coordinator on the staff list, if they are not there, and prints the code with which they set their password.
pub async fn add_coordinator((db, new): (&Path, bool), login: &str) -> Result<(), Failure> {
    let login =
        crate::text::code(login).map_err(|what| Failure::Other(format!("LOGIN: {what}")))?;
    let now = Timestamp::now();
    let desk = Desk::open(open_or_make((db, new)).await?).await?;
    let held = match desk.view().await {
        Ok(view) => view
            .term
            .staff
            .iter()
            .find(|s| s.login.eq_ignore_ascii_case(&login))
            .cloned(),
        Err(_) => None,
    };
    match held {
        Some(staff) if staff.role == StaffRole::Coordinator => {}
        Some(_) => {
            return Err(Failure::Other(format!(
                "found the assistant {login}, expected a login that is free or a coordinator\u{2019}s"
            )));
        }
        None => {
            let staff = StaffMember {
                login: login.clone(),
                name: login.clone(),
                role: StaffRole::Coordinator,
                sections: Vec::new(),
            };
            desk.apply(vec![Change::Staff(staff)], "command line", now)
                .await?;
        }
    }
    desk.look().await?;
    let desk = match Shelf::around(db).await? {
        None => Arc::new(desk),
        // whoever signs in to a course of a folder signs in to the folder
        Some(shelf) => {
            desk.close().await;
            let department = Department::open(shelf, now).await?;
            Arc::clone(department.people())
        }
    };
    let codes = accounts::issue_claim_codes(
        &desk,
        std::slice::from_ref(&login),
        accounts::By::COMMAND_LINE,
        now,
    )
    .await
    .map_err(|why| Failure::Other(why.to_string()))?;
    for issued in codes {
        println!("login {login}");
        println!("code  {}", issued.code);
        println!(
            "Open /claim on the server, give both and choose a password. The code works once, until {}.",
            issued.expires_at.strftime("%-d %b %Y")
        );
    }
    if let Some(desk) = Arc::into_inner(desk) {
        desk.close().await;
    }
    Ok(())
}

/// Takes the database of a course into a folder of courses.
pub async fn take_in(file: &Path, folder: &Path, key: &str) -> Result<(), Failure> {
    let key = CourseKey::parse(key).map_err(|what| Failure::Other(format!("--as: {what}")))?;
    expect_file("FILE", file)?;
    if !file.is_file() {
        return Err(Failure::Other(format!(
            "found no file {}, expected a database",
            file.display()
        )));
    }
    let now = Timestamp::now();
    let department = super::serve::open_department(folder, now).await?;
    let taken = department.take_in(file, &key, now).await?;
    println!(
        "{} is the course {key} of {}, checked before and after; {} came with their passwords",
        file.display(),
        department.shelf().in_words(),
        counted(taken, "person", "people")
    );
    Ok(())
}
