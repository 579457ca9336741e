//! A course folder in memory, with the only two functions that touch the file system.

use std::collections::BTreeMap;
use std::fs;
use std::io::Read as _;
use std::path::Path;

use sha2::{Digest as _, Sha256};

use super::zipped::unpack;
use crate::text::{Fault, found};
use crate::words::hexadecimal;

/// Where it stands what was written into a folder, so that what somebody edited since is seen.
const WRITTEN: &str = ".written-by-concordant";

/// Files by relative path with `/` between folders.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Folder(BTreeMap<String, Vec<u8>>);

impl Folder {
    /// Largest file, bytes.
    pub const MAX_FILE: u64 = 10 << 20;
    /// Largest folder, bytes.
    pub const MAX_TOTAL: u64 = 64 << 20;
    pub const MAX_FILES: usize = 2000;

    /// Adds a file.
    ///
    /// # Errors
    /// [`Fault`] for a path that leads elsewhere or is there already, or for a file or folder that is too large.
    pub fn insert(&mut self, path: &str, bytes: Vec<u8>) -> Result<(), Fault> {
        let leads_elsewhere = path.is_empty()
            || path.len() > 200
            || path.contains(['\\', ':'])
            || path.chars().any(char::is_control)
            || path.split('/').any(|part| matches!(part, "" | "." | ".."));
        if leads_elsewhere {
            let what = found(path, "a relative path of at most 200 characters");
            return Err(Fault::of_file("folder", what));
        }
        if self.0.contains_key(path) {
            return Err(Fault::of_file(path, "found it twice, expected it once"));
        }
        check_size(path, bytes.len() as u64)?;
        if self.0.len() >= Self::MAX_FILES {
            return Err(too_many());
        }
        let total = self.0.values().fold(bytes.len() as u64, |sum, file| {
            sum.saturating_add(file.len() as u64)
        });
        if total > Self::MAX_TOTAL {
            let what = format!(
                "found more than {} MiB, expected at most that in all",
                Self::MAX_TOTAL >> 20
            );
            return Err(Fault::of_file("folder", what));
        }
        self.0.insert(path.to_owned(), bytes);
        Ok(())
    }

    /// Adds or replaces a text of our own making.
    pub fn put(&mut self, path: impl Into<String>, text: impl Into<String>) {
        self.0.insert(path.into(), text.into().into_bytes());
    }

    /// The bytes of a file.
    pub fn get(&self, path: &str) -> Option<&[u8]> {
        self.0.get(path).map(Vec::as_slice)
    }

    /// All files in order of path.
    pub fn files(&self) -> impl Iterator<Item = (&str, &[u8])> {
        self.0
            .iter()
            .map(|(path, bytes)| (path.as_str(), bytes.as_slice()))
    }

    /// Whether a name is passed over: hidden files, and what is neither data nor looks like it.
    pub fn is_ignored(path: &str) -> bool {
        const DATA: [&str; 7] = ["csv", "toml", "tsv", "xls", "xlsx", "ods", "json"];
        let hidden = path.split('/').any(|part| part.starts_with('.'));
        let extension = path.rsplit_once('.').map_or("", |(_, extension)| extension);
        hidden || !DATA.iter().any(|data| extension.eq_ignore_ascii_case(data))
    }

    /// Reads a folder and the folders in it, or a zip file of one. Files that are passed over are not read.
    ///
    /// # Errors
    /// Every [`Fault`]: a file or folder that cannot be read or is too large.
    pub fn read(root: &Path) -> Result<Self, Vec<Fault>> {
        let mut folder = Self::default();
        let mut faults = Vec::new();
        if root.is_file() {
            let name = root.display().to_string();
            let bytes = read_within(root, &name, Self::MAX_TOTAL).map_err(|fault| vec![fault])?;
            return unpack(&name, &bytes);
        }
        if !root.is_dir() {
            let what = found(&root.display().to_string(), "a folder");
            return Err(vec![Fault::of_file("folder", what)]);
        }
        read_into(&mut folder, root, "", 0, &mut faults);
        if faults.is_empty() {
            Ok(folder)
        } else {
            Err(faults)
        }
    }

    /// Writes every file into a folder that is new, empty, or was written by this and is as it was. What was written
    /// earlier and is no more is taken away. With `force` whatever stands there is written over.
    ///
    /// # Errors
    /// A [`Fault`] for every file that somebody else put there or edited since, or that cannot be written.
    pub fn write_over(&self, root: &Path, force: bool) -> Result<(), Vec<Fault>> {
        let (mut there, mut earlier) = (Vec::new(), BTreeMap::new());
        if root.exists() {
            names(root, "", &mut there).map_err(|why| vec![unreadable("folder", &why)])?;
            there.retain(|path| path != WRITTEN);
            earlier = written_before(root);
        }
        let mut faults = Vec::new();
        for path in there.iter().filter(|_| !force) {
            let what = match (earlier.get(path), fs::read(root.join(path))) {
                (None, Ok(bytes)) if self.get(path) == Some(&bytes) => continue,
                (None, _) => {
                    "found this file there already, expected an empty folder or one written by the same command; --force writes all the same"
                }
                (Some(hash), Ok(bytes)) if *hash == digest(&bytes) => continue,
                (Some(_), _) => {
                    "found this file edited since it was written, expected it as it was; --force writes over it"
                }
            };
            faults.push(Fault::of_file(path, what));
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        for gone in earlier.keys().filter(|path| self.get(path).is_none()) {
            if there.contains(gone) && !force {
                fs::remove_file(root.join(gone)).map_err(|why| vec![unreadable(gone, &why)])?;
            }
        }
        let hash = |(path, bytes): (&str, &[u8])| format!("{}  {path}\n", digest(bytes));
        let mut all = self.clone();
        all.put(WRITTEN, self.files().map(hash).collect::<String>());
        for (path, bytes) in &all.0 {
            let to = root.join(path);
            let parent = to.parent().unwrap_or(root);
            fs::create_dir_all(parent)
                .and_then(|()| fs::write(&to, bytes))
                .map_err(|why| {
                    vec![Fault::of_file(path, format!("it cannot be written: {why}"))]
                })?;
        }
        Ok(())
    }

    /// Writes every file. An existing folder may only hold files of the same names.
    ///
    /// # Errors
    /// [`Fault`] for a file that is in the way or cannot be written.
    pub fn write(&self, root: &Path) -> Result<(), Fault> {
        if root.exists() {
            let mut there = Vec::new();
            names(root, "", &mut there).map_err(|why| unreadable("folder", &why))?;
            if let Some(other) = there.iter().find(|path| !self.0.contains_key(*path)) {
                let what = "found this file there already, expected an empty folder or one written by the same command";
                return Err(Fault::of_file(other, what));
            }
        }
        for (path, bytes) in &self.0 {
            let to = root.join(path);
            let parent = to.parent().unwrap_or(root);
            fs::create_dir_all(parent)
                .and_then(|()| fs::write(&to, bytes))
                .map_err(|why| Fault::of_file(path, format!("it cannot be written: {why}")))?;
        }
        Ok(())
    }
}

/// What was written into a folder earlier: the digest of every file by its path.
fn written_before(root: &Path) -> BTreeMap<String, String> {
    let text = fs::read_to_string(root.join(WRITTEN)).unwrap_or_default();
    let lines = text.lines().filter_map(|line| line.split_once("  "));
    lines
        .map(|(hash, path)| (path.to_owned(), hash.to_owned()))
        .collect()
}

fn digest(bytes: &[u8]) -> String {
    let hash = Sha256::digest(bytes);
    hexadecimal(&hash)
}

fn check_size(path: &str, size: u64) -> Result<(), Fault> {
    if size > Folder::MAX_FILE {
        let what = format!(
            "found {size} bytes, expected at most {} MiB",
            Folder::MAX_FILE >> 20
        );
        return Err(Fault::of_file(path, what));
    }
    Ok(())
}

fn too_many() -> Fault {
    let what = format!(
        "found more than {} files, expected at most that many",
        Folder::MAX_FILES
    );
    Fault::of_file("folder", what)
}

fn unreadable(path: &str, why: &std::io::Error) -> Fault {
    Fault::of_file(path, format!("it cannot be read: {why}"))
}

fn read_into(folder: &mut Folder, at: &Path, prefix: &str, depth: u32, faults: &mut Vec<Fault>) {
    let entries = match fs::read_dir(at) {
        Ok(entries) => entries,
        Err(why) => return faults.push(unreadable(prefix.trim_end_matches('/'), &why)),
    };
    for entry in entries.flatten() {
        let Ok(name) = entry.file_name().into_string() else {
            faults.push(Fault::of_file(
                entry.file_name().to_string_lossy(),
                "found a name that is not UTF-8, expected one that is",
            ));
            continue;
        };
        let path = format!("{prefix}{name}");
        // a link to a folder could lead in a circle
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        if is_folder && depth < 4 && !name.starts_with('.') {
            read_into(
                folder,
                &entry.path(),
                &format!("{path}/"),
                depth.saturating_add(1),
                faults,
            );
        } else if entry.path().is_file() && !Folder::is_ignored(&path) {
            if folder.0.len() >= Folder::MAX_FILES {
                return faults.push(too_many());
            }
            if let Err(fault) =
                read_file(&entry.path(), &path).and_then(|bytes| folder.insert(&path, bytes))
            {
                faults.push(fault);
            }
        }
    }
}

fn read_file(at: &Path, path: &str) -> Result<Vec<u8>, Fault> {
    let size = fs::metadata(at)
        .map_err(|why| unreadable(path, &why))?
        .len();
    check_size(path, size)?;
    read_within(at, path, Folder::MAX_FILE)
}

/// Reads one byte more than allowed at most, whatever the size the file system states.
fn read_within(at: &Path, path: &str, most: u64) -> Result<Vec<u8>, Fault> {
    let file = fs::File::open(at).map_err(|why| unreadable(path, &why))?;
    let mut bytes = Vec::new();
    file.take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(|why| unreadable(path, &why))?;
    Ok(bytes)
}

fn names(at: &Path, prefix: &str, into: &mut Vec<String>) -> std::io::Result<()> {
    for entry in fs::read_dir(at)? {
        let entry = entry?;
        let path = format!("{prefix}{}", entry.file_name().to_string_lossy());
        if entry.file_type()?.is_dir() {
            names(&entry.path(), &format!("{path}/"), into)?;
        } else {
            into.push(path);
        }
    }
    Ok(())
}
