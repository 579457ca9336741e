//! Columns of the files, in order.
//!
//! The standard's own tables could not be had offline. Version 1.1 is after the column definitions of the public
//! repository oat-sa/oneroster-import (`config/v1.1`), version 1.2 after the header lists of the public repository
//! LongsightGroup/oneroster (`src/one-roster-csv-*-schema.ts`); both say they follow the tables of 1EdTech.

use super::package::Version;

const CATEGORIES: &str = "sourcedId,status,dateLastModified,title";
const CATEGORIES_2: &str = "sourcedId,status,dateLastModified,title,weight";
const LINE_ITEMS: &str = "sourcedId,status,dateLastModified,title,description,assignDate,dueDate,classSourcedId,categorySourcedId,gradingPeriodSourcedId,resultValueMin,resultValueMax";
const LINE_ITEMS_2: &str = "sourcedId,status,dateLastModified,title,description,assignDate,dueDate,classSourcedId,categorySourcedId,academicSessionSourcedId,resultValueMin,resultValueMax,schoolSourcedId";
const RESULTS: &str = "sourcedId,status,dateLastModified,lineItemSourcedId,studentSourcedId,scoreStatus,score,scoreDate,comment";
const RESULTS_2: &str = "sourcedId,status,dateLastModified,lineItemSourcedId,studentSourcedId,scoreStatus,score,scoreDate,comment,textScore,classSourcedId,inProgress,incomplete,late,missing";
const SESSIONS: &str =
    "sourcedId,status,dateLastModified,title,type,startDate,endDate,parentSourcedId,schoolYear";
const ORGS: &str = "sourcedId,status,dateLastModified,name,type,identifier,parentSourcedId";
const COURSES: &str = "sourcedId,status,dateLastModified,schoolYearSourcedId,title,courseCode,grades,orgSourcedId,subjects,subjectCodes";
const CLASSES: &str = "sourcedId,status,dateLastModified,title,grades,courseSourcedId,classCode,classType,location,schoolSourcedId,termSourcedIds,subjects,subjectCodes,periods";
const USERS: &str = "sourcedId,status,dateLastModified,enabledUser,orgSourcedIds,role,username,userIds,givenName,familyName,middleName,identifier,email,sms,phone,agentSourcedIds,grades,password";
const USERS_2: &str = "sourcedId,status,dateLastModified,enabledUser,username,userIds,givenName,familyName,middleName,identifier,email,sms,phone,agentSourcedIds,grades,password,userMasterIdentifier,preferredGivenName,preferredMiddleName,preferredFamilyName,primaryOrgSourcedId,pronouns";
const ENROLLMENTS: &str = "sourcedId,status,dateLastModified,classSourcedId,schoolSourcedId,userSourcedId,role,primary,beginDate,endDate";
const ROLES_2: &str = "sourcedId,status,dateLastModified,userSourcedId,roleType,role,beginDate,endDate,orgSourcedId,userProfileSourcedId";

/// The columns of a file of ours, such as `results.csv`; none for a file that version does not have or we do not write.
pub fn columns(version: Version, file: &str) -> Option<Vec<&'static str>> {
    let second = version == Version::V1p2;
    let columns = match (file, second) {
        ("manifest.csv", _) => "propertyName,value",
        ("categories.csv", false) => CATEGORIES,
        ("categories.csv", true) => CATEGORIES_2,
        ("lineItems.csv", false) => LINE_ITEMS,
        ("lineItems.csv", true) => LINE_ITEMS_2,
        ("results.csv", false) => RESULTS,
        ("results.csv", true) => RESULTS_2,
        ("academicSessions.csv", _) => SESSIONS,
        ("orgs.csv", _) => ORGS,
        ("courses.csv", _) => COURSES,
        ("classes.csv", _) => CLASSES,
        ("users.csv", false) => USERS,
        ("users.csv", true) => USERS_2,
        ("enrollments.csv", _) => ENROLLMENTS,
        ("roles.csv", true) => ROLES_2,
        _ => return None,
    };
    Some(columns.split(',').collect())
}
