//! Whether the tables of a course are as they were made, with their triggers on; and what can be done about rows that were
//! taken out.

use std::collections::BTreeMap;

use sqlx::postgres::PgConnection;
use sqlx::{AssertSqlSafe, Connection as _, Executor as _, Row as _};

use super::super::retention::TAKEN_FROM;
use super::super::{StoreError, migrations};

/// Names of things with the text that would make them.
type Things = BTreeMap<String, String>;

/// Everything that stands in a schema, with its name left out of it.
const THINGS: &str = "
    WITH here AS (SELECT oid FROM pg_namespace WHERE nspname = $1),
    things AS (
        SELECT 'column ' || c.relname || '.' || a.attname AS name,
               a.attnum::text || ' ' || format_type(a.atttypid, a.atttypmod) || ' ' || a.attnotnull || ' ' || a.attidentity::text || ' '
                   || coalesce(pg_get_expr(d.adbin, d.adrelid), '') AS text
        FROM pg_class c JOIN here ON c.relnamespace = here.oid
             JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
             LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
        WHERE c.relkind IN ('r', 'v', 'm', 'f', 'p')
        UNION ALL
        SELECT 'relation ' || relname, relkind::text || ' ' || relrowsecurity || ' ' || relpersistence::text
        FROM pg_class JOIN here ON relnamespace = here.oid
        UNION ALL
        SELECT 'constraint ' || coalesce(c.relname, '') || '.' || conname, pg_get_constraintdef(t.oid) || ' ' || convalidated
        FROM pg_constraint t JOIN here ON connamespace = here.oid LEFT JOIN pg_class c ON c.oid = conrelid
        UNION ALL
        SELECT 'index ' || c.relname, pg_get_indexdef(c.oid) || ' ' || i.indisvalid
        FROM pg_class c JOIN here ON c.relnamespace = here.oid JOIN pg_index i ON i.indexrelid = c.oid
        UNION ALL
        SELECT 'trigger ' || c.relname || '.' || tgname, pg_get_triggerdef(t.oid) || ' ' || tgenabled::text
        FROM pg_trigger t JOIN pg_class c ON c.oid = tgrelid JOIN here ON c.relnamespace = here.oid
        WHERE NOT tgisinternal OR tgenabled <> 'O'
        UNION ALL
        SELECT 'rule ' || tablename || '.' || rulename, definition FROM pg_rules WHERE schemaname = $1
        UNION ALL
        SELECT 'view ' || c.relname, pg_get_viewdef(c.oid)
        FROM pg_class c JOIN here ON c.relnamespace = here.oid WHERE c.relkind IN ('v', 'm')
        UNION ALL
        SELECT 'function ' || proname || ' ' || pg_get_function_identity_arguments(p.oid), pg_get_functiondef(p.oid)
        FROM pg_proc p JOIN here ON pronamespace = here.oid
        UNION ALL
        SELECT 'operator ' || oprname || ' ' || oprleft::regtype || ' ' || oprright::regtype, oprcode::text
        FROM pg_operator JOIN here ON oprnamespace = here.oid)
    SELECT name, text FROM things";

/// What the steps make, and what is there. They are gone through beside it, in a schema that nobody ever sees.
pub(in super::super) async fn made_and_found(
    connection: &mut PgConnection,
) -> Result<(Things, Things), StoreError> {
    let here: String = sqlx::query_scalar("SELECT current_schema()::text")
        .fetch_one(&mut *connection)
        .await?;
    let beside = "as made";
    let mut transaction = connection.begin().await?;
    transaction
        .execute("CREATE SCHEMA \"as made\"; SET LOCAL search_path TO \"as made\"")
        .await?;
    for step in migrations::of_postgres().iter() {
        transaction.execute(step.sql.clone()).await?;
    }
    let schemas = [beside, here.as_str()];
    let made = things(&mut transaction, beside, schemas).await?;
    let back = format!("SET LOCAL search_path TO {}", super::quoted(&here));
    transaction.execute(AssertSqlSafe(back)).await?;
    let mut found = things(&mut transaction, &here, schemas).await?;
    transaction.rollback().await?;
    // the list of steps is sqlx's own
    found.retain(|name, _| !name.contains("_sqlx_migrations"));
    Ok((made, found))
}

/// A thing of a schema may be called like one of the schemas, as the view `people` is: so both names are left out of both
/// texts alike, and names of things are taken as they are, which hold none.
async fn things(
    connection: &mut PgConnection,
    schema: &str,
    schemas: [&str; 2],
) -> Result<Things, StoreError> {
    let rows = sqlx::query(THINGS).bind(schema).fetch_all(connection);
    let mut things = Things::new();
    let forms = schemas.map(|one| [format!("{}.", super::quoted(one)), format!("{one}.")]);
    for row in rows.await? {
        let mut text: String = row.try_get("text")?;
        for form in forms.as_flattened() {
            text = text.replace(form, "");
        }
        things.insert(row.try_get("name")?, text);
    }
    Ok(things)
}

/// Takes rows that were taken out out of their pages as well. In the log of the server, and in what was copied from it, they
/// stand until these are gone.
pub(in super::super) async fn vacuum(connection: &mut PgConnection) -> Result<(), StoreError> {
    let tables = format!("VACUUM {}", TAKEN_FROM.join(", "));
    sqlx::raw_sql(AssertSqlSafe(tables))
        .execute(connection)
        .await?;
    Ok(())
}
