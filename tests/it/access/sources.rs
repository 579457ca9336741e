//! What the routes are read from.

use std::fs;
use std::path::Path;

/// The texts of sources under a folder, without their unit tests.
pub fn sources(under: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in fs::read_dir(under).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if !path.ends_with("tests.rs") {
            let text = fs::read_to_string(&path).expect("a source");
            // routes of unit tests are not served
            let served = text.split("#[cfg(test)]").next();
            found.push(served.unwrap_or_default().to_owned());
        }
    }
    found
}
