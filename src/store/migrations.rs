//! The steps by which a database comes to be what it is now, from the files of `migrations/` inside the binary.

use rust_embed::RustEmbed;
use sqlx::migrate::{Migration, MigrationType, Migrator};
use sqlx::{AssertSqlSafe, SqlSafeStr as _};

#[derive(RustEmbed)]
#[folder = "migrations/"]
struct Steps;

/// Those of a file of SQLite.
pub(super) fn of_sqlite() -> Migrator {
    migrator("")
}

/// Those of a schema of a PostgreSQL database.
#[cfg(feature = "postgres")]
pub(super) fn of_postgres() -> Migrator {
    migrator("postgres/")
}

fn migrator(folder: &str) -> Migrator {
    let steps = Steps::iter().filter_map(|path| {
        let name = path.strip_prefix(folder)?.strip_suffix(".sql")?;
        let (version, description) = name.split_once('_')?;
        let text = String::from_utf8(Steps::get(&path)?.data.into_owned());
        Some(Migration::new(
            version.parse().ok()?,
            description.replace('_', " ").into(),
            MigrationType::Simple,
            AssertSqlSafe(text.ok()?).into_sql_str(),
            false,
        ))
    });
    Migrator::with_migrations(steps.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One that is left out would be missed by nobody before it is too late.
    #[test]
    fn every_file_of_a_folder_is_a_step_of_its_engine() {
        let files = Steps::iter().filter(|path| !path.contains('/')).count();
        let versions: Vec<i64> = of_sqlite().iter().map(|step| step.version).collect();
        assert!(files >= 13);
        assert_eq!(versions, (1..).take(files).collect::<Vec<_>>());
        #[cfg(feature = "postgres")]
        assert_eq!(
            of_postgres().iter().count(),
            Steps::iter()
                .filter(|path| path.starts_with("postgres/"))
                .count()
        );
    }
}
