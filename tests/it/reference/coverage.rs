//! Every published item the project is checked against, by id: tested, or listed with the reason it is not.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

const IDS: &str = include_str!("ids.txt");

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The words of a text that could be ids.
fn words(text: &str) -> BTreeSet<String> {
    let split = text.split(|c: char| !(c.is_ascii_alphanumeric() || matches!(c, '-' | '.')));
    split
        .map(|word| word.trim_end_matches('.').to_owned())
        .collect()
}

#[test]
fn every_item_is_tested_or_listed() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    sources(&root.join("tests"), &mut files);
    let mut tested = BTreeSet::new();
    for file in files {
        for line in std::fs::read_to_string(file).expect("a source").lines() {
            if let Some((_, ids)) = line.split_once("// id: ") {
                tested.extend(words(ids));
            }
        }
    }
    let guide = std::fs::read_to_string(root.join("DEVELOPERS.md")).expect("the guide");
    let (_, table) = guide
        .split_once("## Reference figures not computed")
        .expect("the table");
    let listed = words(table);
    let ids: Vec<&str> = IDS.lines().collect();
    let missing: Vec<&&str> = ids
        .iter()
        .filter(|id| !tested.contains(**id) && !listed.contains(**id))
        .collect();
    assert!(missing.is_empty(), "neither tested nor listed: {missing:?}");
    let count = ids.iter().filter(|id| tested.contains(**id)).count();
    println!(
        "{count} of {} items tested, {} listed",
        ids.len(),
        ids.len() - count
    );
    assert!(count >= 100, "{count}");
}
