//! `seal` and `verify`.

use std::io::Write as _;
use std::path::Path;

use jiff::Timestamp;

use super::{Failure, open_existing, progress};
use crate::desk::evidence::{self, Mark};
use crate::desk::{self, Desk};
use crate::store::{Shelf, first_difference};
use crate::words::counted;
use crate::words::hexadecimal;

/// Signs the head of the record, after the file was found to be as it was written.
pub async fn seal(db: &Path, key: &Path, new_key: bool, out: &Path) -> Result<(), Failure> {
    let key = if new_key {
        make_key(key)?
    } else {
        read_key(key)?
    };
    let desk = Desk::open(open_existing(db).await?).await?;
    progress("checking the record");
    if let Some(what) = first_difference(&mut *desk.store().read().await?).await? {
        return Err(Failure::Other(what));
    }
    let seal = evidence::seal(&desk, &key, Timestamp::now()).await?;
    desk.close().await;
    let mut file = std::fs::File::create_new(out).map_err(|why| unwritten(out, &why))?;
    let written = file
        .write_all(seal.as_bytes())
        .and_then(|()| file.sync_all());
    written.map_err(|why| unwritten(out, &why))?;
    println!(
        "{}: sealed with key {}",
        out.display(),
        evidence::public_key(&key)
    );
    Ok(())
}

/// Checks the whole file against itself, and against what was kept outside: seals, receipts, records taken away, or the
/// marks themselves.
pub async fn verify(db: &Path, kept: &[String], expected_key: Option<&str>) -> Result<(), Failure> {
    let mut marks = Vec::new();
    for one in kept {
        marks.extend(marks_of(one, expected_key)?);
    }
    let desk = Desk::open(open_existing(db).await?).await?;
    progress("checking the record");
    if let Some(what) = first_difference(&mut *desk.store().read().await?).await? {
        return Err(Failure::Other(what));
    }
    if let Some(what) = evidence::first_lost(&desk, &marks).await? {
        return Err(Failure::Other(what));
    }
    progress("judging every submission");
    let (count, differences) = desk::verify(&desk).await?;
    desk.close().await;
    if let Some(first) = differences.first() {
        return Err(Failure::Other(format!(
            "{}, {}: found another judgement than judging now gives, expected the same",
            first.slot.experiment, first.slot.student
        )));
    }
    println!(
        "{}: sound, {} verified, {} from outside found in it",
        Shelf::shown(db),
        counted(count, "submission", "submissions"),
        counted(marks.len(), "mark", "marks")
    );
    Ok(())
}

/// The marks of one argument, each with where it was kept.
fn marks_of(kept: &str, expected_key: Option<&str>) -> Result<Vec<(Mark, String)>, Failure> {
    let place = |mark| (mark, kept.to_owned());
    if let Some(mark) = Mark::parse(kept) {
        return Ok(vec![(mark, "a receipt or a seal".to_owned())]);
    }
    let text = std::fs::read_to_string(kept)
        .map_err(|why| Failure::Other(format!("{kept}: found no file and no mark: {why}")))?;
    let marks = match evidence::read_seal(&text) {
        Some(seal) => {
            let seal = seal.map_err(|what| Failure::Other(format!("{kept}: {what}")))?;
            if expected_key.is_some_and(|key| !key.trim().eq_ignore_ascii_case(&seal.public_key)) {
                return Err(Failure::Other(format!(
                    "{kept}: found a seal of key {}, expected the key of --public-key",
                    seal.public_key
                )));
            }
            eprintln!("{kept}: sealed at {} with key {}", seal.at, seal.public_key);
            seal.marks
        }
        None if text.contains("\nsignature ") => {
            return Err(Failure::Other(format!(
                "{kept}: found a seal with another first line, expected it as it was signed"
            )));
        }
        None => Mark::all_in(&text),
    };
    if marks.is_empty() {
        return Err(Failure::Other(format!(
            "{kept}: found no mark, expected a seal, a receipt or a record"
        )));
    }
    Ok(marks.into_iter().map(place).collect())
}

fn read_key(file: &Path) -> Result<[u8; 32], Failure> {
    let text = std::fs::read_to_string(file)
        .map_err(|why| Failure::Other(format!("{}: {why}; --new-key makes one", file.display())))?;
    evidence::bytes(&text).ok_or_else(|| {
        Failure::Other(format!(
            "{}: found something else than a key, expected 64 hexadecimal digits",
            file.display()
        ))
    })
}

/// A key that is nobody else's to read.
fn make_key(file: &Path) -> Result<[u8; 32], Failure> {
    let mut key = [0_u8; 32];
    getrandom::fill(&mut key).map_err(|why| Failure::Other(why.to_string()))?;
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut made = options.open(file).map_err(|why| unwritten(file, &why))?;
    let written = made.write_all(format!("{}\n", hexadecimal(&key)).as_bytes());
    written.map_err(|why| unwritten(file, &why))?;
    Ok(key)
}

fn unwritten(file: &Path, why: &std::io::Error) -> Failure {
    Failure::Other(format!("cannot write {}: {why}", file.display()))
}
