//! A course of a platform, and what its services are called there, as a launch tells of them.

use serde_json::{Map, Value};

use super::Platform;
use super::launch::CLAIM;
use super::platform::{is_address, is_name};
use crate::words::named;

/// A course of a platform (LTI 5.4.1).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Context {
    /// What the platform calls it.
    pub id: String,
    pub title: String,
    /// Address of its members (NRPS 3.6.1.1); empty where it gives none.
    pub memberships: String,
    /// Address of the columns of its gradebook (AGS 3.1); empty where it gives none.
    pub line_items: String,
    /// What may be done there.
    pub scopes: Vec<Scope>,
    /// Address of its groups (GS); empty where it gives none.
    pub groups: String,
    /// The resource link that was launched.
    pub link: String,
}

/// What a token can be good for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scope {
    Members,
    LineItems,
    Scores,
    Groups,
}

named! { Scope, name, from_name:
    Members = "https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly",
    LineItems = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem",
    Scores = "https://purl.imsglobal.org/spec/lti-ags/scope/score",
    Groups = "https://purl.imsglobal.org/spec/lti-gs/scope/contextgroup.readonly",
}

/// Longest title that is kept.
const LONGEST_TITLE: usize = 200;

impl Context {
    /// None where a launch is of no course.
    pub(super) fn read(claims: &Map<String, Value>, platform: &Platform) -> Option<Self> {
        let of = |claim: &str, name: &str| claims.get(claim)?.get(name)?.as_str();
        let own = |claim: &str, name: &str| of(&format!("{CLAIM}{claim}"), name);
        let id = own("context", "id").filter(|id| is_name(id))?;
        let title = own("context", "title").or_else(|| own("context", "label"));
        let title = title.unwrap_or(id).trim();
        let address = |claim: &str, name: &str| {
            let address = of(claim, name).filter(|address| is_service(address, platform));
            address.unwrap_or_default().to_owned()
        };
        let grades = "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint";
        let members = "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice";
        let groups = "https://purl.imsglobal.org/spec/lti-gs/claim/groupsservice";
        let scopes = claims.get(grades).and_then(|claim| claim.get("scope"));
        let scopes = scopes.and_then(Value::as_array).into_iter().flatten();
        Some(Self {
            id: id.to_owned(),
            title: title.chars().take(LONGEST_TITLE).collect(),
            memberships: address(members, "context_memberships_url"),
            line_items: address(grades, "lineitems"),
            scopes: scopes
                .filter_map(|scope| Scope::from_name(scope.as_str()?))
                .collect(),
            groups: address(groups, "context_groups_url"),
            link: own("resource_link", "id").unwrap_or_default().to_owned(),
        })
    }

    /// Whether its members can be asked for.
    pub fn gives_members(&self) -> bool {
        !self.memberships.is_empty()
    }

    /// Whether grades can go there: columns can be made, and scores sent.
    pub fn takes_grades(&self) -> bool {
        let may = |scope| self.scopes.contains(&scope);
        !self.line_items.is_empty() && may(Scope::LineItems) && may(Scope::Scores)
    }
}

/// Whether an address may be one of a service: over the network by TLS; on this machine where the platform is there, too.
fn is_service(address: &str, platform: &Platform) -> bool {
    let far = address.starts_with("https://");
    is_address(address) && (far || platform.token.starts_with("http://"))
}
