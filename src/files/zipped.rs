//! A course folder in one zip file, unpacked in memory and packed again.

use std::io::{Cursor, Read as _, Write as _};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::folder::Folder;
use crate::text::Fault;

/// Most entries looked at, folders and files passed over included.
const MOST_ENTRIES: usize = 5000;

/// The path of an entry. Some programs write it with strokes the other way, which the format knows nothing of.
fn path_of(name: &str) -> String {
    name.replace('\\', "/")
}

/// Unpacks a folder. Where every file lies in the same top folder, that one is left out. What a course folder passes
/// over is passed over here.
pub fn unpack(name: &str, bytes: &[u8]) -> Result<Folder, Vec<Fault>> {
    let of_zip = |what: String| vec![Fault::of_file(name, what)];
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|why| {
        of_zip(format!(
            "found a file that cannot be read as a zip file ({why}), expected the course folder in one .zip"
        ))
    })?;
    if zip.len() > MOST_ENTRIES {
        return Err(of_zip(format!(
            "found {} entries, expected at most {MOST_ENTRIES}",
            zip.len()
        )));
    }
    let names: Vec<String> = zip.file_names().map(path_of).collect();
    let files = names.iter().map(String::as_str);
    let top = top_folder(files.filter(|name: &&str| !name.ends_with('/')));
    let (mut folder, mut faults) = (Folder::default(), Vec::new());
    let mut unpacked = 0_u64;
    for place in 0..zip.len() {
        let mut entry = match zip.by_index(place) {
            Ok(entry) => entry,
            Err(why) => {
                let what = format!("entry {} cannot be read: {why}", place.saturating_add(1));
                faults.push(Fault::of_file(name, what));
                continue;
            }
        };
        let path = path_of(entry.name());
        let inner = path.strip_prefix(&top).unwrap_or(&path).to_owned();
        if entry.is_dir()
            || inner.starts_with("__MACOSX/")
            || Folder::is_ignored(&inner) && !leads_elsewhere(&inner)
        {
            continue;
        }
        if entry.is_symlink() {
            faults.push(Fault::of_file(inner, "found a link, expected a file"));
            continue;
        }
        // one byte more than allowed at most, whatever size the file states
        let left = Folder::MAX_TOTAL
            .saturating_sub(unpacked)
            .min(Folder::MAX_FILE);
        let mut content = Vec::new();
        let read = entry
            .by_ref()
            .take(left.saturating_add(1))
            .read_to_end(&mut content);
        unpacked = unpacked.saturating_add(content.len() as u64);
        let insert = match read {
            Ok(_) => folder.insert(&inner, content),
            Err(why) => Err(Fault::of_file(
                &inner,
                format!("it cannot be unpacked: {why}"),
            )),
        };
        if let Err(fault) = insert {
            faults.push(fault);
        }
        if unpacked > Folder::MAX_TOTAL {
            break;
        }
    }
    if faults.is_empty() {
        Ok(folder)
    } else {
        Err(faults)
    }
}

fn leads_elsewhere(path: &str) -> bool {
    path.starts_with('/') || path.contains('\\') || path.split('/').any(|part| part == "..")
}

/// The folder, with its slash, that every file lies in; empty if there is none.
fn top_folder<'n>(names: impl Iterator<Item = &'n str>) -> String {
    let mut top: Option<&str> = None;
    for name in names.filter(|name| !name.starts_with("__MACOSX/")) {
        let Some((first, _)) = name.split_once('/') else {
            return String::new();
        };
        if first == ".." || top.is_some_and(|top| top != first) {
            return String::new();
        }
        top = Some(first);
    }
    top.map(|top| format!("{top}/")).unwrap_or_default()
}

/// Packs a folder. The same folder gives the same bytes: every file is dated 1 January 1980.
pub fn pack(folder: &Folder) -> Result<Vec<u8>, String> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(zip::DateTime::default())
        .unix_permissions(0o644);
    for (path, bytes) in folder.files() {
        zip.start_file(path, options)
            .map_err(|why| why.to_string())?;
        zip.write_all(bytes).map_err(|why| why.to_string())?;
    }
    let done = zip.finish().map_err(|why| why.to_string())?;
    Ok(done.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zip_of(files: &[(&str, &[u8])]) -> Vec<u8> {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        for (path, bytes) in files {
            zip.start_file(*path, SimpleFileOptions::default())
                .expect("starts");
            zip.write_all(bytes).expect("is written");
        }
        zip.finish().expect("ends").into_inner()
    }

    #[test]
    fn a_top_folder_is_left_out_and_what_is_no_data_passed_over() {
        let zip = zip_of(&[
            ("Autumn/course.toml", b"a"),
            ("Autumn/readings/x.csv", b"b"),
            ("Autumn/.hidden.csv", b"c"),
            ("Autumn/notes.txt", b"d"),
            ("__MACOSX/Autumn/._course.toml", b"e"),
        ]);
        let folder = unpack("x.zip", &zip).expect("is sound");
        let paths: Vec<&str> = folder.files().map(|(path, _)| path).collect();
        assert_eq!(paths, ["course.toml", "readings/x.csv"]);
        let zip = zip_of(&[
            ("Autumn\\course.toml", b"a"),
            ("Autumn\\readings\\x.csv", b"b"),
        ]);
        let folder = unpack("x.zip", &zip).expect("is sound");
        let paths: Vec<&str> = folder.files().map(|(path, _)| path).collect();
        assert_eq!(paths, ["course.toml", "readings/x.csv"]);
    }

    #[test]
    fn a_path_that_leads_elsewhere_is_refused_by_name() {
        for path in [
            "../course.toml",
            "a/../../course.toml",
            "/etc/course.toml",
            "..\\course.toml",
        ] {
            let zip = zip_of(&[(path, b"a"), ("roster.csv", b"b")]);
            let faults = unpack("x.zip", &zip).expect_err(path);
            assert!(faults[0].what.contains("relative path"), "{faults:?}");
        }
    }

    #[test]
    fn what_is_no_zip_file_or_unpacks_too_large_is_refused() {
        assert!(unpack("x.zip", b"student_id,family_name").is_err());
        let large = vec![b'0'; (Folder::MAX_FILE + 1) as usize];
        let faults = unpack("x.zip", &zip_of(&[("roster.csv", &large)])).expect_err("is large");
        assert!(faults[0].what.contains("at most 10 MiB"), "{faults:?}");
    }

    #[test]
    fn the_same_folder_is_packed_into_the_same_bytes() {
        let mut folder = Folder::default();
        folder
            .insert("course.toml", b"title".to_vec())
            .expect("fits");
        folder
            .insert("readings/x.csv", b"1,2".to_vec())
            .expect("fits");
        let once = pack(&folder).expect("is packed");
        assert_eq!(once, pack(&folder).expect("is packed"));
        assert_eq!(unpack("x.zip", &once).expect("is sound"), folder);
    }
}
