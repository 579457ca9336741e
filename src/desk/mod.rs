//! Use cases.

pub mod accounts;
pub mod passwords;
pub mod sessions;

/// A course at work.
pub struct Desk {
    store: crate::store::Store,
}

impl Desk {
    /// Takes up the course of a database.
    ///
    /// # Errors
    /// If it cannot be read.
    pub async fn open(store: crate::store::Store) -> Result<Self, crate::store::StoreError> {
        Ok(Self { store })
    }

    /// The database.
    #[must_use]
    pub fn store(&self) -> &crate::store::Store {
        &self.store
    }
}
