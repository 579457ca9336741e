//! Lists that stay in memory as long as their course does.

use serde::{Deserialize, Deserializer};

/// Reads a list and keeps no room for more.
pub(crate) fn exact<'de, D, T>(deserializer: D) -> Result<Vec<T>, D::Error>
where
    D: Deserializer<'de>,
    T: Deserialize<'de>,
{
    let mut read = Vec::deserialize(deserializer)?;
    read.shrink_to_fit();
    Ok(read)
}
