//! `backup`.

use std::path::Path;

use super::{Failure, open_existing, progress};
use crate::desk::accounts::{By, Event, What};
use crate::desk::{self, Desk};
use crate::store::{Store, remove_database};
use crate::words::counted;

/// Into which file a copy goes.
pub enum To<'a> {
    File(&'a Path),
    /// A file of a fresh name in this folder, where so many are kept.
    Folder(&'a Path, usize),
}

/// Names of copies in a folder, so that no other file there is ever taken away.
const NAME: (&str, &str) = ("concordant-", ".db");

/// Copies a live database, then checks that the copy is sound and judges as it says.
pub async fn run(db: &Path, to: To<'_>) -> Result<(), Failure> {
    match to {
        To::File(file) => copy(db, file).await,
        To::Folder(folder, keep) => {
            let made = std::fs::create_dir_all(folder);
            made.map_err(|why| Failure::Other(format!("{}: {why}", folder.display())))?;
            let at = jiff::Timestamp::now().strftime("%Y%m%dT%H%M%S%.3fZ");
            let file = folder.join(format!("{}{at}{}", NAME.0, NAME.1));
            copy(db, &file).await?;
            thin_out(folder, keep.max(1))
        }
    }
}

/// Keeps the newest copies of a folder.
fn thin_out(folder: &Path, keep: usize) -> Result<(), Failure> {
    let failed = |why: std::io::Error| Failure::Other(format!("{}: {why}", folder.display()));
    let mut copies = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let name = entry.map_err(failed)?.file_name();
        let name = name.to_string_lossy().into_owned();
        let at = name
            .strip_prefix(NAME.0)
            .and_then(|n| n.strip_suffix(NAME.1));
        if at.is_some_and(|at| at.len() == 20 && at.ends_with('Z')) {
            copies.push(name);
        }
    }
    copies.sort();
    let many = copies.len().saturating_sub(keep);
    for name in copies.into_iter().take(many) {
        std::fs::remove_file(folder.join(&name)).map_err(failed)?;
        println!("{name}: removed, {keep} newer are kept");
    }
    Ok(())
}

async fn copy(db: &Path, to: &Path) -> Result<(), Failure> {
    if to.exists() {
        return Err(Failure::Other(format!(
            "found a file {}, expected none there",
            to.display()
        )));
    }
    let store = open_existing(db).await?;
    progress("copying");
    store.backup(to).await?;
    let words = match checked(to).await {
        Ok(words) => words,
        Err(why) => {
            remove_database(to);
            return Err(why);
        }
    };
    let event = Event {
        at: jiff::Timestamp::now(),
        what: What::BackedUp,
        who: None,
        by: By::COMMAND_LINE.login,
        subject: &to.display().to_string(),
        network: "",
    };
    let mut transaction = store.write().await?;
    transaction.accounts().note(event).await?;
    transaction.commit().await?;
    store.close().await;
    println!("{}: sound, {words}", to.display());
    Ok(())
}

/// What is in a copy, if it judges as it says.
async fn checked(to: &Path) -> Result<String, Failure> {
    progress("checking the copy");
    let copy = Desk::open(Store::open(to).await?).await?;
    let checked = match copy.view().await {
        Ok(view) => {
            drop(view);
            let (count, differences) = desk::verify(&copy).await?;
            if !differences.is_empty() {
                return Err(Failure::Other(format!(
                    "found {} in the copy, expected none",
                    counted(differences.len(), "difference", "differences")
                )));
            }
            format!("{} verified", counted(count, "submission", "submissions"))
        }
        Err(_) => "no course in it yet".to_owned(),
    };
    copy.close().await;
    Ok(checked)
}
