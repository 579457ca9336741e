//! The files of an exchange, and the manifest that says which of them count.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::super::folder::Folder;
use crate::text::{Columns, Fault, Row, Table, found};
use crate::words::named;

/// A version of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Version {
    /// 1.1
    V1p1,
    /// 1.2
    V1p2,
}

/// Data files of version 1.1, as the manifest names them.
const FILES: [&str; 13] = [
    "academicSessions",
    "categories",
    "classes",
    "classResources",
    "courses",
    "courseResources",
    "demographics",
    "enrollments",
    "lineItems",
    "orgs",
    "resources",
    "results",
    "users",
];
/// What version 1.2 adds.
const FILES_2: [&str; 8] = [
    "lineItemLearningObjectiveIds",
    "lineItemScoreScales",
    "resultLearningObjectiveIds",
    "resultScoreScales",
    "roles",
    "scoreScales",
    "userProfiles",
    "userResources",
];

named! { Version, name, from_name:
    V1p1 = "1.1",
    V1p2 = "1.2",
}

impl Version {
    /// Every data file of the version, as the manifest names them.
    pub(super) fn files(self) -> impl Iterator<Item = &'static str> {
        let added: &[&str] = match self {
            Self::V1p1 => &[],
            Self::V1p2 => &FILES_2,
        };
        FILES.iter().chain(added).copied()
    }
}

/// A bulk exchange that came in: its manifest read.
pub(super) struct Package<'f> {
    folder: &'f Folder,
    pub version: Version,
    modes: BTreeMap<String, String>,
}

impl<'f> Package<'f> {
    pub fn open(folder: &'f Folder) -> Result<Self, Vec<Fault>> {
        let mut faults = Vec::new();
        let Some(bytes) = folder.get("manifest.csv") else {
            let what =
                "found no manifest.csv, expected the files of a OneRoster exchange beside one";
            return Err(vec![Fault::of_file("manifest.csv", what)]);
        };
        let columns = Columns::with_others(&["propertyName", "value"], &[]);
        let Some(table) = Table::read("manifest.csv", bytes, &columns, &mut faults) else {
            return Err(faults);
        };
        let property = |name: &str| {
            let mut rows = table.rows.iter();
            rows.find(|row| table.cell(row, "propertyName").trim() == name)
        };
        let said = property("oneroster.version");
        let version = said.map_or("", |row| table.cell(row, "value").trim());
        let known = Version::from_name(version);
        if known.is_none() {
            let fault = Fault::of_file(
                "manifest.csv",
                found(version, "oneroster.version 1.1 or 1.2"),
            );
            faults.push(fault.in_column("value"));
        }
        let mut modes = BTreeMap::new();
        for row in &table.rows {
            if let Some(name) = table.cell(row, "propertyName").trim().strip_prefix("file.") {
                modes.insert(name.to_owned(), table.cell(row, "value").trim().to_owned());
            }
        }
        match (known, faults.is_empty()) {
            (Some(version), true) => Ok(Self {
                folder,
                version,
                modes,
            }),
            _ => Err(faults),
        }
    }

    /// A file that has to be there in bulk, by its name without `.csv`.
    pub fn table(
        &self,
        file: &'static str,
        needed: &[&str],
        faults: &mut Vec<Fault>,
    ) -> Option<Table<'static>> {
        let mode = self.modes.get(file).map_or("absent", String::as_str);
        let property = format!("file.{file}");
        if mode != "bulk" {
            let expected = match mode {
                "delta" => {
                    "bulk: a delta exchange holds only what changed, and a roster is compared as a whole"
                }
                _ => "bulk",
            };
            let fault = Fault::of_file("manifest.csv", found(mode, expected));
            faults.push(fault.in_column(property));
            return None;
        }
        let name = with_csv(file);
        let Some(bytes) = self.folder.get(name) else {
            let what =
                "found no such file, expected it because the manifest says it is there in bulk";
            faults.push(Fault::of_file(name, what));
            return None;
        };
        Table::read(name, bytes, &Columns::with_others(needed, &[]), faults)
    }

    /// The bytes of a file that came in bulk.
    pub fn bytes(&self, file: &str) -> Option<&'f [u8]> {
        let bulk = self.modes.get(file).is_some_and(|mode| mode == "bulk");
        bulk.then(|| self.folder.get(&format!("{file}.csv")))
            .flatten()
    }
}

/// Whether a row is in force: bulk files leave the status empty, and some write it all the same.
pub(super) fn is_active(table: &Table<'_>, row: &Row) -> bool {
    matches!(table.cell(row, "status").trim(), "" | "active")
}

/// The ids of a list in one cell.
pub(super) fn list(cell: &str) -> impl Iterator<Item = Cow<'_, str>> {
    cell.split(',')
        .map(|one| Cow::Borrowed(one.trim()))
        .filter(|one| !one.is_empty())
}

fn with_csv(file: &'static str) -> &'static str {
    match file {
        "academicSessions" => "academicSessions.csv",
        "classes" => "classes.csv",
        "courses" => "courses.csv",
        "enrollments" => "enrollments.csv",
        "lineItems" => "lineItems.csv",
        "orgs" => "orgs.csv",
        "users" => "users.csv",
        other => other,
    }
}
