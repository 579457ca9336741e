//! Members of a course of a platform, as its service writes them (NRPS 3), and groups (GS).

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::Value;

use super::launch::CLAIM;
use super::platform::is_name;

/// A page of members.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Page {
    pub members: Vec<Member>,
    /// So many are none: without an id that can be one.
    pub unnamed: usize,
}

/// A member of a course.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Member {
    /// Who it is at the platform: the `sub` of launches (NRPS 2.2).
    pub sub: String,
    pub family_name: String,
    pub given_name: String,
    pub email: String,
    pub sourced_id: String,
    /// The custom parameter `student_number`, where members are asked for with a link.
    pub number: String,
    /// Whether it is a learner of this course.
    pub learns: bool,
    /// Whether it is on the course now: neither inactive nor deleted.
    pub is_active: bool,
    /// Ids of its groups.
    pub groups: Vec<String>,
}

/// Names of groups by their ids.
pub type Groups = BTreeMap<String, String>;

/// What is wrong with an answer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MembersFault {
    #[error("found no JSON with a list of {0}, expected one")]
    Form(&'static str),
    #[error("found a next page at another host than the first, expected the same")]
    Elsewhere,
}

#[derive(Deserialize)]
struct Container {
    members: Vec<Value>,
}

#[derive(Deserialize)]
struct Written {
    user_id: String,
    #[serde(default)]
    roles: Vec<String>,
    status: Option<String>,
    name: Option<String>,
    given_name: Option<String>,
    family_name: Option<String>,
    email: Option<String>,
    lis_person_sourcedid: Option<String>,
    #[serde(default)]
    message: Value,
    #[serde(default)]
    group_enrollments: Vec<Enrollment>,
}

#[derive(Deserialize)]
struct Enrollment {
    group_id: String,
}

#[derive(Deserialize)]
struct GroupContainer {
    groups: Vec<Group>,
}

#[derive(Deserialize)]
struct Group {
    id: String,
    name: String,
}

impl Page {
    /// Media type of it (NRPS 3.3).
    pub const KIND: &'static str = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json";

    pub fn read(text: &str) -> Result<Self, MembersFault> {
        let read = serde_json::from_str(text).map_err(|_| MembersFault::Form("members"));
        let Container { members } = read?;
        let mut page = Self::default();
        for member in members {
            let read = serde_json::from_value::<Written>(member).ok();
            match read.filter(|one| is_name(&one.user_id)) {
                Some(one) => page.members.push(one.into()),
                None => page.unnamed += 1,
            }
        }
        Ok(page)
    }
}

impl From<Written> for Member {
    fn from(one: Written) -> Self {
        let text = |text: Option<String>| text.unwrap_or_default().trim().to_owned();
        let (mut given, mut family) = (text(one.given_name), text(one.family_name));
        if family.is_empty() {
            // the last word of a whole name, where that is all there is
            let whole = text(one.name);
            let parts = whole.rsplit_once(' ').unwrap_or(("", &whole));
            (given, family) = match given.is_empty() {
                true => (parts.0.trim().to_owned(), parts.1.to_owned()),
                false => (given, parts.1.to_owned()),
            };
        }
        // a message for each link; asked for with one, there is one (NRPS 3.2)
        let message = one.message.as_array().and_then(|all| all.first());
        let custom = message.and_then(|message| message.get(format!("{CLAIM}custom")));
        let number = custom.and_then(|custom| custom.get("student_number"));
        let learner = "http://purl.imsglobal.org/vocab/lis/v2/membership#Learner";
        Self {
            sub: one.user_id,
            family_name: family,
            given_name: given,
            email: text(one.email),
            sourced_id: text(one.lis_person_sourcedid),
            number: number
                .and_then(Value::as_str)
                .unwrap_or_default()
                .trim()
                .to_owned(),
            // in full or short (NRPS 3.4)
            learns: one
                .roles
                .iter()
                .any(|role| role == "Learner" || role == learner),
            // who has no status is active (NRPS 3.4)
            is_active: one.status.is_none_or(|status| status == "Active"),
            groups: one
                .group_enrollments
                .into_iter()
                .map(|one| one.group_id)
                .collect(),
        }
    }
}

/// Media type of groups (GS).
pub const GROUPS_KIND: &str = "application/vnd.ims.lti-gs.v1.contextgroupcontainer+json";

/// Reads groups.
pub fn groups(text: &str) -> Result<Groups, MembersFault> {
    let read = serde_json::from_str(text).map_err(|_| MembersFault::Form("groups"));
    let GroupContainer { groups } = read?;
    let named = groups.into_iter().map(|group| (group.id, group.name));
    Ok(named.collect())
}

/// The next page after one at `address`, by its `Link` header (NRPS 3.5; RFC 8288): at the same host, since a token goes
/// along. None after the last.
pub fn next_page(link: Option<&str>, address: &str) -> Result<Option<String>, MembersFault> {
    let mut rest = link.unwrap_or_default();
    // an address may hold commas and semicolons: it ends with its bracket
    while let Some((target, after)) = rest.split_once('<').and_then(|(_, t)| t.split_once('>')) {
        let mut is_quoted = false;
        let end = after.find(|c: char| {
            is_quoted ^= c == '"';
            c == ',' && !is_quoted
        });
        let (said, others) = after.split_at(end.unwrap_or(after.len()));
        rest = others;
        let mut parts = said.split(';').map(str::trim);
        let is_next = parts.any(|part| {
            let relation = part.strip_prefix("rel=").map(|rel| rel.trim_matches('"'));
            relation.is_some_and(|rel| rel.split(' ').any(|one| one.eq_ignore_ascii_case("next")))
        });
        if is_next {
            return match same_host(target, address) {
                true => Ok(Some(target.to_owned())),
                false => Err(MembersFault::Elsewhere),
            };
        }
    }
    Ok(None)
}

/// Whether two addresses have scheme, host and port in common.
pub(super) fn same_host(one: &str, other: &str) -> bool {
    let host = |address: &str| {
        let (scheme, rest) = address.split_once("://")?;
        let host = rest.split(['/', '?', '#']).next()?;
        Some(format!("{scheme}://{host}").to_ascii_lowercase())
    };
    host(one).is_some_and(|one| !one.contains('@') && Some(one) == host(other))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_follow_at_the_same_host_alone() {
        let first = "https://learn.example.edu/m?p=1";
        let at = |link: &str| next_page(Some(link), first);
        let second = "https://learn.example.edu/m?p=2";
        assert_eq!(
            at(&format!("<{second}>; rel=\"next\"")),
            Ok(Some(second.into()))
        );
        let commas = "https://learn.example.edu/m?sort=name,id;up&p=2";
        let after = format!(
            "<{first},1>; title=\"x, y\"; rel=first, <{commas}>; title=\"2, of 3\"; rel=\"next\""
        );
        assert_eq!(at(&after), Ok(Some(commas.into())));
        let both = format!("<{first}>; rel=\"first\", <{second}>; title=\"x\"; rel=next");
        assert_eq!(at(&both), Ok(Some(second.into())));
        assert_eq!(
            at("<https://learn.example.edu/d>; rel=\"differences\""),
            Ok(None)
        );
        assert_eq!(next_page(None, first), Ok(None));
        for elsewhere in [
            "https://learn.example.edu:8443/m",
            "http://learn.example.edu/m",
            "https://learn.example.edu@elsewhere.example/m",
            "/m?p=2",
        ] {
            let link = format!("<{elsewhere}>; rel=\"next\"");
            assert_eq!(at(&link), Err(MembersFault::Elsewhere), "{elsewhere}");
        }
    }
}
