//! `backup`.

use std::path::Path;

use super::{Failure, open_existing, progress};
use crate::desk::accounts::{By, Event, What};
use crate::desk::{self, Desk};
use crate::store::Store;
use crate::words::counted;

/// Copies a live database, then checks that the copy is sound and judges as it says.
pub async fn run(db: &Path, to: &Path) -> Result<(), Failure> {
    if to.exists() {
        return Err(Failure::Other(format!(
            "found a file {}, expected none there",
            to.display()
        )));
    }
    let store = open_existing(db).await?;
    progress("copying");
    store.backup(to).await?;
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
    println!("{}: sound, {checked}", to.display());
    Ok(())
}
