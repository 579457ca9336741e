//! A message of a platform, once its token is believed: whether it is a launch, of this deployment, and who is launched.

use serde_json::{Map, Value};

use super::platform::is_name;
use super::{Context, NamedBy, Platform};

/// Claims of LTI begin so (LTI 5.3).
pub(super) const CLAIM: &str = "https://purl.imsglobal.org/spec/lti/claim/";

/// A launch that is believed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Launch {
    /// Who it is at the platform.
    pub subject: String,
    /// As it names people; none if it does not say.
    pub name: Option<String>,
    /// Where it is to end.
    pub target: String,
    /// The course of the platform it comes from, where it says so.
    pub context: Option<Context>,
    /// Whether they teach that course: its roles open nothing here, and say who may tell which course it is.
    pub teaches: bool,
    pub deployment: String,
}

/// Why a message is no launch.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LaunchFault {
    #[error(
        "found the message \u{201c}{0}\u{201d}, expected \u{201c}LtiResourceLinkRequest\u{201d}"
    )]
    MessageType(String),
    #[error("found version \u{201c}{0}\u{201d}, expected \u{201c}1.3.0\u{201d}")]
    Version(String),
    #[error("found another deployment than the one that is registered, expected that")]
    Deployment,
    #[error("found no {0}, or one that the standard does not allow, expected one")]
    Missing(&'static str),
    #[error("found nobody launched, expected somebody")]
    Anonymous,
}

/// What a message of a platform asks for. Which deployments are those of the platform, the registrations say.
pub fn launch(
    claims: &Map<String, Value>,
    platform: &Platform,
    deployments: &[&str],
) -> Result<Launch, LaunchFault> {
    let claim = |name: &str| claims.get(&format!("{CLAIM}{name}"));
    let text = |name: &str| claim(name).and_then(Value::as_str);
    let said = |name: &str| text(name).unwrap_or_default().chars().take(60).collect();
    // LTI 5.3.1: case-sensitive; 5.3.2
    if text("message_type") != Some("LtiResourceLinkRequest") {
        return Err(LaunchFault::MessageType(said("message_type")));
    }
    if text("version") != Some("1.3.0") {
        return Err(LaunchFault::Version(said("version")));
    }
    // LTI 5.3.3: at most 255 ASCII characters, and of a deployment that is known
    let deployment = text("deployment_id").filter(|name| is_name(name));
    if !deployment.is_some_and(|name| deployments.contains(&name)) {
        return Err(LaunchFault::Deployment);
    }
    // LTI 5.3.4
    let target = text("target_link_uri").filter(|target| !target.is_empty());
    let target = target.ok_or(LaunchFault::Missing("target_link_uri"))?;
    // LTI 5.3.5: the resource link has an id of at most 255 ASCII characters
    let link = claim("resource_link").and_then(|link| link.get("id"));
    if !link.and_then(Value::as_str).is_some_and(is_name) {
        return Err(LaunchFault::Missing("resource_link id"));
    }
    // LTI 5.3.7: there, and perhaps empty. What somebody may do here, the course says
    if !claim("roles").is_some_and(Value::is_array) {
        return Err(LaunchFault::Missing("roles"));
    }
    // LTI 5.3.6: whoever has no sub is anonymous; at most 255 ASCII characters
    let subject = claims
        .get("sub")
        .and_then(Value::as_str)
        .filter(|sub| is_name(sub));
    let subject = subject.ok_or(LaunchFault::Anonymous)?;
    let verified = claims.get("email_verified");
    let verified = verified.is_none_or(|it| *it == true || *it == "true");
    let name = match platform.named_by {
        NamedBy::Email => claims.get("email").filter(|_| verified),
        NamedBy::SourcedId => claim("lis").and_then(|lis| lis.get("person_sourcedid")),
        NamedBy::Custom => claim("custom").and_then(|custom| custom.get("student_number")),
    };
    let name = name.and_then(Value::as_str).map(str::trim);
    let roles = claim("roles").and_then(Value::as_array).into_iter();
    let mut roles = roles.flatten().filter_map(Value::as_str);
    Ok(Launch {
        context: Context::read(claims, platform),
        teaches: roles.any(is_of_teachers),
        deployment: deployment.unwrap_or_default().to_owned(),
        subject: subject.to_owned(),
        name: name.filter(|name| !name.is_empty()).map(str::to_owned),
        target: target.to_owned(),
    })
}

/// Whether a role is one of those who teach a course (LTI A.2.3, context roles; the short form too).
fn is_of_teachers(role: &str) -> bool {
    ["membership#Instructor", "membership#Administrator"]
        .iter()
        .any(|end| role.strip_prefix("http://purl.imsglobal.org/vocab/lis/v2/") == Some(end))
        || role == "Instructor"
}
