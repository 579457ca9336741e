//! `backup`.

use std::path::{Path, PathBuf};

use super::{Failure, expect_file, open_existing, progress};
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
/// What a copy is called until it is whole: whoever makes it may be killed.
const PARTIAL: &str = ".partial";

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
    let is_ours = |name: &str| {
        let at = name.strip_prefix(NAME.0);
        let at = at.and_then(|name| name.strip_suffix(NAME.1));
        at.is_some_and(|at| at.len() == 20 && at.ends_with('Z'))
    };
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let name = entry.map_err(failed)?.file_name();
        let name = name.to_string_lossy().into_owned();
        if name.split_once(PARTIAL).is_some_and(|(of, _)| is_ours(of)) {
            // of a copy that was broken off, with what SQLite put beside it
            std::fs::remove_file(folder.join(name)).map_err(failed)?;
        } else if is_ours(&name) {
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
    expect_file("--to", to)?;
    if to.exists() {
        return Err(Failure::Other(format!(
            "found a file {}, expected none there",
            to.display()
        )));
    }
    let store = open_existing(db).await?;
    progress("copying");
    let partial = partial(to);
    remove_database(&partial);
    store.backup(&partial).await?;
    let named = match checked(&partial).await {
        Ok(words) => named(&partial, to).map(|()| words),
        Err(why) => Err(why),
    };
    let words = named.inspect_err(|_| remove_database(&partial))?;
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

fn partial(to: &Path) -> PathBuf {
    let mut name = to.as_os_str().to_owned();
    name.push(PARTIAL);
    PathBuf::from(name)
}

/// Gives a whole copy its name; on disk when this returns.
fn named(partial: &Path, to: &Path) -> Result<(), Failure> {
    let failed = |why: std::io::Error| Failure::Other(format!("{}: {why}", to.display()));
    std::fs::rename(partial, to).map_err(failed)?;
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = std::fs::File::open(folder.unwrap_or(Path::new(".")));
    folder.and_then(|folder| folder.sync_all()).map_err(failed)
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
