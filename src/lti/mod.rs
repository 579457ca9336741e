//! Launches by LTI 1.3: what a platform has to send, what is asked of it, and which of its messages are believed. Without
//! network and clock; tokens are read by [`crate::campus`].
//!
//! And what its services are asked and answer: members of a course (NRPS), columns and scores of its gradebook (AGS).
//!
//! Places: SEC is the 1EdTech Security Framework 1.0, LTI the LTI Core Specification 1.3, OIDC OpenID Connect Core 1.0, NRPS
//! Names and Role Provisioning Services 2.0, AGS Assignment and Grade Services 2.0, GS Course Groups Service 1.0.

mod context;
mod grades;
mod launch;
mod login;
mod members;
mod platform;
mod roster;

pub use context::{Context, Scope};
pub use grades::{LineItem, LineItemFault, Score, scores_address};
pub use launch::{Launch, LaunchFault, launch};
pub use login::{LoginFault, LoginRequest, asked};
pub use members::{GROUPS_KIND, Groups, Member, MembersFault, Page, groups, next_page};
pub use platform::{NamedBy, Platform, PlatformFault};
pub use roster::{Incoming, NotTaken, incoming};

/// The algorithm of messages (SEC 5.1.3, 5: RS256, unless another is agreed on).
pub const ALGORITHMS: [&str; 1] = ["RS256"];
