//! `grade`, `import`, `export`.

use std::path::Path;

use jiff::Timestamp;

use super::{Failure, open_existing, progress};
use crate::desk::{self, Desk};
use crate::files::{self, Folder};
use crate::store::Store;
use crate::words::counted;

/// A course folder straight to grades.
pub async fn grade(folder: &Path, out: &Path) -> Result<(), Failure> {
    progress("reading the course folder");
    let folder = Folder::read(folder).map_err(Failure::Faults)?;
    progress("grading");
    let grades = desk::grade(&folder, Timestamp::now()).await?;
    grades
        .write(out)
        .map_err(|fault| Failure::Faults(vec![fault]))?;
    for (file, _) in grades.files() {
        println!("{}", out.join(file).display());
    }
    Ok(())
}

/// A course folder into a database.
pub async fn import(folder: &Path, db: &Path) -> Result<(), Failure> {
    progress("reading the course folder");
    let folder = Folder::read(folder).map_err(Failure::Faults)?;
    // faults are found before the database is made
    files::read_term(&folder).map_err(Failure::Faults)?;
    let desk = Desk::open(Store::open(db).await?).await?;
    progress("importing");
    let brought = desk::bring_in(&desk, &folder, "import", Timestamp::now()).await?;
    println!(
        "{}, {} of them {}",
        counted(brought.changes, "change", "changes"),
        brought.hand_ins,
        if brought.hand_ins == 1 {
            "a hand-in"
        } else {
            "hand-ins"
        }
    );
    desk.close().await;
    Ok(())
}

/// A course out of a database.
pub async fn export(db: &Path, out: &Path) -> Result<(), Failure> {
    let desk = Desk::open(open_existing(db).await?).await?;
    let view = desk.view().await?;
    let folder = files::write_term(&view.term);
    drop(view);
    folder
        .write(out)
        .map_err(|fault| Failure::Faults(vec![fault]))?;
    println!("{}", out.display());
    desk.close().await;
    Ok(())
}
