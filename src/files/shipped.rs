//! What comes with the program: glassware, procedures, the demonstration course.

use std::sync::LazyLock;

use rust_embed::RustEmbed;

use super::folder::Folder;
use super::glassware_file::read_glassware;
use crate::measure::GlasswareTable;

#[derive(RustEmbed)]
#[folder = "seed-data/"]
struct Seed;

fn text(path: &str) -> Option<String> {
    let file = Seed::get(path)?;
    Some(String::from_utf8_lossy(&file.data).into_owned())
}

/// The glassware table that comes with the program.
pub fn shipped_glassware() -> GlasswareTable {
    // a test reads the shipped file, so that it cannot fail here
    static TABLE: LazyLock<GlasswareTable> = LazyLock::new(|| {
        let text = text("glassware.toml").unwrap_or_default();
        read_glassware("glassware.toml", &text).unwrap_or_default()
    });
    TABLE.clone()
}

/// The procedures that come with the program: key and text, in order of key.
pub fn shipped_procedures() -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> = Seed::iter()
        .filter_map(|path| {
            let key = path.strip_prefix("procedures/")?.strip_suffix(".toml")?;
            Some((key.to_owned(), text(&path)?))
        })
        .collect();
    all.sort();
    all
}

/// The text of one procedure that comes with the program.
pub fn shipped_procedure(key: &str) -> Option<String> {
    text(&format!("procedures/{key}.toml"))
}

pub fn demo_folder() -> Folder {
    let mut folder = Folder::default();
    for path in Seed::iter() {
        if let (Some(inner), Some(file)) = (path.strip_prefix("demo/"), Seed::get(&path))
            && !Folder::is_ignored(inner)
        {
            // names and sizes are those of our own repository
            let _ = folder.insert(inner, file.data.into_owned());
        }
    }
    folder
}
