//! Courses of platforms, and who their people are here.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::lti::{Context, Platform, Scope};
use crate::store::accounts::{AccountId, Kind};
use crate::store::sql::{Connection, Row, query};
use crate::store::{StoreError, hash};

/// Courses and people of platforms, in the database where people sign in.
pub struct Contexts<'c>(pub &'c mut Connection);

/// A course of a platform, as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinkedContext {
    /// Names it here.
    pub name: String,
    pub issuer: String,
    pub client: String,
    pub deployment: String,
    pub context: Context,
    /// The course it is, by its key, which is empty where there is one only; none until a coordinator says so.
    pub course: Option<String>,
}

impl LinkedContext {
    /// What a course of a platform is called here.
    pub fn name_of(platform: &Platform, context: &Context) -> String {
        let Platform {
            issuer,
            client,
            deployment,
            ..
        } = platform;
        hash(&format!("{issuer}\n{client}\n{deployment}\n{}", context.id))
    }
}

impl Contexts<'_> {
    /// Keeps what a launch says of a course; which course it is here stays as it was.
    pub async fn keep(
        &mut self,
        platform: &Platform,
        context: &Context,
        at: Timestamp,
    ) -> Result<String, StoreError> {
        let name = LinkedContext::name_of(platform, context);
        let scopes: Vec<&str> = context.scopes.iter().map(|scope| scope.name()).collect();
        query(
            "INSERT INTO lti_context
                 (name, issuer, client, deployment, id, title, memberships, line_items, scopes, groups, link, seen_at)
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
             ON CONFLICT (name) DO UPDATE SET title = $6, memberships = $7, line_items = $8, scopes = $9, groups = $10,
                 link = $11, seen_at = $12",
        )
        .bind(&name)
        .bind(&platform.issuer)
        .bind(&platform.client)
        .bind(&platform.deployment)
        .bind(&context.id)
        .bind(&context.title)
        .bind(&context.memberships)
        .bind(&context.line_items)
        .bind(scopes.join(" "))
        .bind(&context.groups)
        .bind(&context.link)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(name)
    }

    pub async fn named(&mut self, name: &str) -> Result<Option<LinkedContext>, StoreError> {
        let row = query("SELECT * FROM lti_context WHERE name = $1").bind(name);
        let row = row.fetch_optional(&mut *self.0).await?;
        row.as_ref().map(read).transpose()
    }

    /// Those that are a course.
    pub async fn of_course(&mut self, course: &str) -> Result<Vec<LinkedContext>, StoreError> {
        let rows = query("SELECT * FROM lti_context WHERE course = $1 ORDER BY title, name");
        let rows = rows.bind(course).fetch_all(&mut *self.0).await?;
        rows.iter().map(read).collect()
    }

    /// Those that are no course yet and that somebody was launched from as one who teaches there.
    pub async fn open_to(&mut self, id: &AccountId) -> Result<Vec<LinkedContext>, StoreError> {
        let rows = query(
            "SELECT * FROM lti_context WHERE course IS NULL AND name IN
                 (SELECT context FROM lti_member JOIN lti_person USING (issuer, sub)
                  WHERE teaches = 1 AND kind = $1 AND login = $2)
             ORDER BY title, name",
        );
        let rows = rows.bind(id.kind.name()).bind(&id.login);
        let rows = rows.fetch_all(&mut *self.0).await?;
        rows.iter().map(read).collect()
    }

    /// Says which course a context is, if it is none yet; or, with none, that it is none any more.
    pub async fn link(&mut self, name: &str, course: Option<&str>) -> Result<bool, StoreError> {
        let linked = query(
            "UPDATE lti_context SET course = $2 WHERE name = $1 AND ($2 IS NULL OR course IS NULL)",
        );
        let linked = linked.bind(name).bind(course).execute(&mut *self.0).await?;
        Ok(linked == 1)
    }

    /// Who somebody of a platform is.
    pub async fn person(
        &mut self,
        issuer: &str,
        sub: &str,
    ) -> Result<Option<AccountId>, StoreError> {
        let row = query("SELECT kind, login FROM lti_person WHERE issuer = $1 AND sub = $2");
        let row = row.bind(issuer).bind(sub);
        let row = row.fetch_optional(&mut *self.0).await?;
        row.as_ref().map(account).transpose()
    }

    /// Keeps who somebody of a platform is. Whoever is linked stays who they are.
    pub async fn keep_person(
        &mut self,
        (issuer, sub): (&str, &str),
        id: &AccountId,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        query(
            "INSERT INTO lti_person (issuer, sub, kind, login, linked_at) VALUES ($1, $2, $3, $4, $5)
             ON CONFLICT (issuer, sub) DO NOTHING",
        )
        .bind(issuer)
        .bind(sub)
        .bind(id.kind.name())
        .bind(&id.login)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Keeps that somebody who was linked as a student is a member of staff, who is the same person.
    pub async fn is_of_staff(
        &mut self,
        (issuer, sub): (&str, &str),
        login: &str,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        query(
            "UPDATE lti_person SET kind = 'staff', login = $3, linked_at = $4
             WHERE issuer = $1 AND sub = $2 AND kind = 'student'",
        )
        .bind(issuer)
        .bind(sub)
        .bind(login)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Keeps that somebody who is known was launched from a course of a platform, and whether they teach there.
    pub async fn keep_member(
        &mut self,
        context: &str,
        (issuer, sub): (&str, &str),
        teaches: bool,
    ) -> Result<(), StoreError> {
        query(
            "INSERT INTO lti_member (context, issuer, sub, teaches, named) VALUES ($1, $2, $3, $4, '')
             ON CONFLICT (context, sub) DO UPDATE SET teaches = $4, named = ''",
        )
        .bind(context)
        .bind(issuer)
        .bind(sub)
        .bind(i64::from(teaches))
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Keeps who the learners of a course of a platform are, each with what it names them by. Of others who were fetched
    /// before nothing stays.
    pub async fn keep_learners(
        &mut self,
        (context, issuer): (&str, &str),
        learners: &[(String, String)],
    ) -> Result<(), StoreError> {
        query("DELETE FROM lti_member WHERE context = $1 AND teaches = 0")
            .bind(context)
            .execute(&mut *self.0)
            .await?;
        for (sub, named) in learners {
            query(
                "INSERT INTO lti_member (context, issuer, sub, teaches, named)
                 SELECT $1, $2, $3, 0, CASE WHEN EXISTS (SELECT 1 FROM lti_person WHERE issuer = $2 AND sub = $3)
                     THEN '' ELSE $4 END
                 WHERE true ON CONFLICT (context, sub) DO NOTHING",
            )
            .bind(context)
            .bind(issuer)
            .bind(sub)
            .bind(named)
            .execute(&mut *self.0)
            .await?;
        }
        Ok(())
    }

    /// Learners of a course of a platform of whom it is not known yet who they are: who each is there, and by what it
    /// names them.
    pub async fn unknown(&mut self, context: &str) -> Result<BTreeMap<String, String>, StoreError> {
        let rows =
            query("SELECT sub, named AS login FROM lti_member WHERE context = $1 AND named <> ''");
        pairs(&rows.bind(context).fetch_all(&mut *self.0).await?)
    }

    /// Knows by now who a learner is.
    pub async fn is_known(&mut self, context: &str, sub: &str) -> Result<(), StoreError> {
        let known = query("UPDATE lti_member SET named = '' WHERE context = $1 AND sub = $2");
        known.bind(context).bind(sub).execute(&mut *self.0).await?;
        Ok(())
    }

    /// What platforms call somebody: issuer and what it says.
    pub async fn known_as(&mut self, id: &AccountId) -> Result<Vec<(String, String)>, StoreError> {
        let rows = query(
            "SELECT issuer, sub FROM lti_person WHERE kind = $1 AND login = $2 ORDER BY issuer, sub",
        );
        let rows = rows.bind(id.kind.name()).bind(&id.login);
        let rows = rows.fetch_all(&mut *self.0).await?;
        let read = rows
            .iter()
            .map(|row| Ok((row.try_get("issuer")?, row.try_get("sub")?)));
        read.collect()
    }

    /// People of a kind by who they are at the platform of an issuer.
    pub async fn people(
        &mut self,
        issuer: &str,
        kind: Kind,
    ) -> Result<BTreeMap<String, String>, StoreError> {
        let rows = query("SELECT sub, login FROM lti_person WHERE issuer = $1 AND kind = $2");
        let rows = rows.bind(issuer).bind(kind.name());
        pairs(&rows.fetch_all(&mut *self.0).await?)
    }

    /// Who members of a context are who are of a kind here: by their login, who they are there.
    pub async fn members(
        &mut self,
        context: &str,
        kind: Kind,
    ) -> Result<BTreeMap<String, String>, StoreError> {
        let rows = query(
            "SELECT login AS sub, sub AS login FROM lti_member JOIN lti_person USING (issuer, sub)
             WHERE context = $1 AND kind = $2 ORDER BY linked_at",
        );
        let rows = rows.bind(context).bind(kind.name());
        pairs(&rows.fetch_all(&mut *self.0).await?)
    }
}

fn pairs(rows: &[Row]) -> Result<BTreeMap<String, String>, StoreError> {
    let read = rows
        .iter()
        .map(|row| Ok((row.try_get("sub")?, row.try_get("login")?)));
    read.collect()
}

fn account(row: &Row) -> Result<AccountId, StoreError> {
    let kind: String = row.try_get("kind")?;
    let kind = Kind::from_name(&kind);
    Ok(AccountId {
        kind: kind.ok_or_else(|| StoreError::damaged("lti_person.kind", "no such kind"))?,
        login: row.try_get("login")?,
    })
}

fn read(row: &Row) -> Result<LinkedContext, StoreError> {
    let scopes: String = row.try_get("scopes")?;
    Ok(LinkedContext {
        name: row.try_get("name")?,
        issuer: row.try_get("issuer")?,
        client: row.try_get("client")?,
        deployment: row.try_get("deployment")?,
        context: Context {
            id: row.try_get("id")?,
            title: row.try_get("title")?,
            memberships: row.try_get("memberships")?,
            line_items: row.try_get("line_items")?,
            scopes: scopes.split(' ').filter_map(Scope::from_name).collect(),
            groups: row.try_get("groups")?,
            link: row.try_get("link")?,
        },
        course: row.try_get("course")?,
    })
}
