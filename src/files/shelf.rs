//! The procedures a course can use: those of its folder first, then the shipped ones.

use std::cell::RefCell;
use std::collections::BTreeMap;

use super::folder::Folder;
use super::procedure_file::read_procedure;
use super::shipped::{shipped_procedure, shipped_procedures};
use crate::measure::GlasswareTable;
use crate::procedure::Procedure;
use crate::text::{Fault, decode, found};

/// Procedures read so far, by key. A procedure at fault is none; its faults are kept.
pub(super) struct Shelf<'g> {
    glassware: &'g GlasswareTable,
    read: RefCell<BTreeMap<String, Option<Procedure>>>,
    texts: RefCell<BTreeMap<String, String>>,
    faults: RefCell<Vec<Fault>>,
}

/// The path of a procedure within a folder.
pub(super) fn path_of(key: &str) -> String {
    format!("procedures/{key}.toml")
}

impl<'g> Shelf<'g> {
    /// A shelf with every procedure of a folder.
    pub fn of_folder(folder: &Folder, glassware: &'g GlasswareTable) -> Self {
        let shelf = Self::of_texts(BTreeMap::new(), glassware);
        for (path, bytes) in folder.files() {
            let Some(key) = path
                .strip_prefix("procedures/")
                .and_then(|name| name.strip_suffix(".toml"))
            else {
                continue;
            };
            match decode(path, bytes) {
                Ok(text) => shelf.add(key, text.to_owned()),
                Err(fault) => {
                    shelf.faults.borrow_mut().push(fault);
                    shelf.read.borrow_mut().insert(key.to_owned(), None);
                }
            }
        }
        shelf
    }

    /// A shelf with procedures by key.
    pub fn of_texts(texts: BTreeMap<String, String>, glassware: &'g GlasswareTable) -> Self {
        let shelf = Self {
            glassware,
            read: RefCell::default(),
            texts: RefCell::default(),
            faults: RefCell::default(),
        };
        for (key, text) in texts {
            shelf.add(&key, text);
        }
        shelf
    }

    /// The glassware procedures are read with.
    pub fn glassware(&self) -> &'g GlasswareTable {
        self.glassware
    }

    fn add(&self, key: &str, text: String) {
        let path = path_of(key);
        let read = read_procedure(&path, &text, self.glassware).and_then(|procedure| {
            if procedure.key == key {
                Ok(procedure)
            } else {
                let what = found(&procedure.key, &format!("{key}, the name of the file"));
                Err(vec![Fault::of_file(&path, what).in_column("key")])
            }
        });
        let procedure = read
            .map_err(|more| self.faults.borrow_mut().extend(more))
            .ok();
        self.read.borrow_mut().insert(key.to_owned(), procedure);
        self.texts.borrow_mut().insert(key.to_owned(), text);
    }

    /// The procedure of that key; none if it has faults of its own.
    pub fn get(&self, key: &str) -> Result<Option<Procedure>, String> {
        if !self.read.borrow().contains_key(key) {
            match shipped_procedure(key) {
                Some(text) => self.add(key, text),
                None => {
                    let shipped: Vec<String> = shipped_procedures()
                        .into_iter()
                        .map(|(key, _)| key)
                        .collect();
                    let expected = format!(
                        "a procedure in procedures/ or one of the shipped {}",
                        shipped.join(", ")
                    );
                    return Err(found(key, &expected));
                }
            }
        }
        Ok(self.read.borrow().get(key).cloned().flatten())
    }

    /// The texts of all procedures on it, and the faults of those that have any.
    pub fn into_texts(self) -> (BTreeMap<String, String>, Vec<Fault>) {
        (self.texts.into_inner(), self.faults.into_inner())
    }
}
