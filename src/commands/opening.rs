//! Databases that a command line names: files, or courses of a database of PostgreSQL.

use std::path::Path;

use super::Failure;
use crate::store::{Shelf, Store};

/// Opens a database that is there, or makes one where that is asked for.
pub(super) async fn open_or_make((db, new): (&Path, bool)) -> Result<Store, Failure> {
    let is_there = Store::is_there(db).await?;
    if !new && !is_there {
        return Err(Failure::Other(format!(
            "found no {}, expected a database; --new makes one",
            named(db)
        )));
    }
    if new && (is_there || db.exists()) {
        return Err(Failure::Other(format!(
            "found {} there already, expected none with --new",
            Shelf::shown(db)
        )));
    }
    Ok(Store::named(db).await?)
}

/// Opens a database that must be there already.
pub(super) async fn open_existing(db: &Path) -> Result<Store, Failure> {
    if !Store::is_there(db).await? {
        return Err(Failure::Other(format!(
            "found no {}, expected a database",
            named(db)
        )));
    }
    Ok(Store::named(db).await?)
}

/// What a command line names, as people are told: a file, or a course of a database.
fn named(db: &Path) -> String {
    match Shelf::is_address(db) {
        true => "such course in that database".to_owned(),
        false => format!("file {}", db.display()),
    }
}

/// Refuses an address where a file is asked for; it may hold a password, so that it is not shown.
pub(super) fn expect_file(argument: &str, named: &Path) -> Result<(), Failure> {
    match Shelf::is_address(named) {
        true => Err(Failure::Other(format!(
            "{argument}: found the address of a database, expected a file"
        ))),
        false => Ok(()),
    }
}
