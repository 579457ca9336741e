//! The first page of the demonstration: what it is, and a way in as each role.
//!
//! Its buttons send the ordinary form of signing in, with the password that the demonstration was given when it was
//! made: there is no other way in, and a server that is none has no such passwords.

/// Somebody of the demonstration.
#[derive(Clone, Debug)]
pub struct DemoPerson {
    pub role: &'static DemoRole,
    pub login: String,
    pub password: String,
}

#[derive(Debug)]
pub struct DemoRole {
    pub name: &'static str,
    pub title: &'static str,
    pub steps: [&'static str; 4],
}

const ROLES: [DemoRole; 4] = [
    DemoRole {
        name: "student",
        title: "Student",
        steps: [
            "Open an experiment whose results are out: the points by part, why, and where the class lies.",
            "Unfold how the result follows from the readings, step by step.",
            "Open the experiment that is still to do, type a titration whose end is before its start, and see what is asked.",
            "Hand in, and look at the receipt.",
        ],
    },
    DemoRole {
        name: "assistant",
        title: "Assistant",
        steps: [
            "Open the first submission of the review list and read the evidence of its flag.",
            "Look at what would explain it, and settle it with a reason.",
            "Open the board of the experiment under way: who is at which trial.",
            "Find a student in the gradebook, and from there a submission.",
        ],
    },
    DemoRole {
        name: "coordinator",
        title: "Coordinator",
        steps: [
            "Look at the results of an experiment, and at what its class was likely to do wrong.",
            "Open the audit: which bottle, lot or section is off what was assigned.",
            "Change the marking of an experiment, and see first whose points would move.",
            "Download the gradebook under Files.",
        ],
    },
    DemoRole {
        name: "prep",
        title: "Prep room",
        steps: [
            "Record a lot by what was weighed and made up, and see its molarity and uncertainty.",
            "Print labels for the bottles of an experiment.",
            "Print the list of who gets which bottle.",
            "Look under Proving at what is ready for the week.",
        ],
    },
];

impl DemoRole {
    pub fn named(name: &str) -> Option<&'static Self> {
        ROLES.iter().find(|role| role.name == name)
    }
}
