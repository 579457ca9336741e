//! The columns, against tables of our own. The standard itself could not be had offline, so these are secondary too:
//! for 1.1 the column definitions of the public repository oat-sa/oneroster-import, `config/v1.1/*.json`, and, agreeing
//! with them, the header lines that the public repository bergerb/OneRosterSampleDataGenerator writes; for 1.2 the header
//! lists of the public repository LongsightGroup/oneroster, `src/one-roster-csv-gradebook-schema.ts` and
//! `src/one-roster-csv-rostering-schema.ts`. `roles.csv` and the 1.2 columns of `results.csv` were found the same in a
//! second place each.

use concordant::files::oneroster::{Version, columns};

const BOTH: [(&str, &str); 6] = [
    ("manifest.csv", "propertyName value"),
    (
        "academicSessions.csv",
        "sourcedId status dateLastModified title type startDate endDate parentSourcedId schoolYear",
    ),
    (
        "orgs.csv",
        "sourcedId status dateLastModified name type identifier parentSourcedId",
    ),
    (
        "courses.csv",
        "sourcedId status dateLastModified schoolYearSourcedId title courseCode grades orgSourcedId subjects subjectCodes",
    ),
    (
        "classes.csv",
        "sourcedId status dateLastModified title grades courseSourcedId classCode classType location schoolSourcedId termSourcedIds subjects subjectCodes periods",
    ),
    (
        "enrollments.csv",
        "sourcedId status dateLastModified classSourcedId schoolSourcedId userSourcedId role primary beginDate endDate",
    ),
];
const FIRST: [(&str, &str); 4] = [
    ("categories.csv", "sourcedId status dateLastModified title"),
    (
        "lineItems.csv",
        "sourcedId status dateLastModified title description assignDate dueDate classSourcedId categorySourcedId gradingPeriodSourcedId resultValueMin resultValueMax",
    ),
    (
        "results.csv",
        "sourcedId status dateLastModified lineItemSourcedId studentSourcedId scoreStatus score scoreDate comment",
    ),
    (
        "users.csv",
        "sourcedId status dateLastModified enabledUser orgSourcedIds role username userIds givenName familyName middleName identifier email sms phone agentSourcedIds grades password",
    ),
];
const SECOND: [(&str, &str); 5] = [
    (
        "categories.csv",
        "sourcedId status dateLastModified title weight",
    ),
    (
        "lineItems.csv",
        "sourcedId status dateLastModified title description assignDate dueDate classSourcedId categorySourcedId academicSessionSourcedId resultValueMin resultValueMax schoolSourcedId",
    ),
    (
        "results.csv",
        "sourcedId status dateLastModified lineItemSourcedId studentSourcedId scoreStatus score scoreDate comment textScore classSourcedId inProgress incomplete late missing",
    ),
    (
        "users.csv",
        "sourcedId status dateLastModified enabledUser username userIds givenName familyName middleName identifier email sms phone agentSourcedIds grades password userMasterIdentifier preferredGivenName preferredMiddleName preferredFamilyName primaryOrgSourcedId pronouns",
    ),
    (
        "roles.csv",
        "sourcedId status dateLastModified userSourcedId roleType role beginDate endDate orgSourcedId userProfileSourcedId",
    ),
];

/// The columns a file has to have, by the tables above.
pub fn expected(version: Version, file: &str) -> Vec<&'static str> {
    let own: &[(&str, &str)] = match version {
        Version::V1p1 => &FIRST,
        Version::V1p2 => &SECOND,
    };
    let found = BOTH.iter().chain(own).find(|(name, _)| *name == file);
    let (_, columns) = found.unwrap_or_else(|| panic!("{file} is in no table"));
    columns.split(' ').collect()
}

#[test]
fn columns_are_those_of_the_tables() {
    for (version, own) in [(Version::V1p1, &FIRST[..]), (Version::V1p2, &SECOND[..])] {
        for (file, _) in BOTH.iter().chain(own) {
            assert_eq!(
                columns(version, file),
                Some(expected(version, file)),
                "{file}"
            );
        }
    }
    assert_eq!(columns(Version::V1p1, "roles.csv"), None);
    assert_eq!(columns(Version::V1p2, "demographics.csv"), None);
}
