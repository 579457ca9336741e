//! The OneRoster CSV exchange: rosters in, results out.

mod headers;
mod kept;
mod results;
mod roster;

use concordant::files::Folder;

/// A bulk exchange of version 1.1 as a registrar might send it: two courses, a teacher, a class of another course, columns
/// beyond the standard's, an apostrophe's worth of odd names, and demographics that are nobody's business here.
pub const ROSTER: [(&str, &str); 8] = [
    (
        "manifest.csv",
        "propertyName,value\r\nmanifest.version,1.0\r\noneroster.version,1.1\r\nfile.academicSessions,bulk\r\nfile.categories,absent\r\nfile.classes,bulk\r\nfile.classResources,absent\r\nfile.courses,bulk\r\nfile.courseResources,absent\r\nfile.demographics,delta\r\nfile.enrollments,bulk\r\nfile.lineItems,absent\r\nfile.orgs,bulk\r\nfile.resources,absent\r\nfile.results,absent\r\nfile.users,bulk\r\nsource.systemName,Registry of Ardnish\r\n",
    ),
    (
        "orgs.csv",
        "sourcedId,status,dateLastModified,name,type,identifier,parentSourcedId\r\norg-1,,,Ardnish College,school,,\r\n",
    ),
    (
        "academicSessions.csv",
        "sourcedId,status,dateLastModified,title,type,startDate,endDate,parentSourcedId,schoolYear\r\nyear-27,,,2026/27,schoolYear,2026-09-01,2099-12-31,,2027\r\nterm-a,,,Autumn,term,2026-09-01,2099-12-31,year-27,2027\r\ngp-1,,,Weeks 1 to 5,gradingPeriod,2026-09-01,2099-09-18,term-a,2027\r\ngp-2,,,Weeks 6 to 10,gradingPeriod,2099-09-19,2099-12-31,term-a,2027\r\n",
    ),
    (
        "courses.csv",
        "sourcedId,status,dateLastModified,schoolYearSourcedId,title,courseCode,grades,orgSourcedId,subjects,subjectCodes\r\ncrs-q,,,year-27,Quantitative analysis,CHM 210,,org-1,,\r\ncrs-o,,,year-27,Organic preparation,CHM 220,,org-1,,\r\n",
    ),
    (
        "classes.csv",
        "sourcedId,status,dateLastModified,title,grades,courseSourcedId,classCode,classType,location,schoolSourcedId,termSourcedIds,subjects,subjectCodes,periods\r\ncls-1,,,\"Monday, bay 2\",,crs-q,Q1,scheduled,,org-1,term-a,,,\r\ncls-2,,,Thursday,,crs-q,Q2,scheduled,,org-1,\"term-a,year-27\",,,\r\ncls-9,,,Organic Monday,,crs-o,O1,scheduled,,org-1,term-a,,,\r\n",
    ),
    (
        "users.csv",
        "sourcedId,status,dateLastModified,enabledUser,orgSourcedIds,role,username,userIds,givenName,familyName,middleName,identifier,email,sms,phone,agentSourcedIds,grades,password,metadata.shoeSize\r\nu-1,,,true,org-1,student,fennimorea,,Ada,Fennimore,,0042,ada@lab.example,,,,,,38\r\nu-2,,,true,org-1,student,okafort,,Tobias,\"Okafor-Lind, jr\",,0043,,,,,,,\r\nu-3,,,true,org-1,student,ruhls,,Seraphine,Ruhl,,0051,S.Ruhl@lab.example,,,,,,\r\nu-4,,,true,org-1,teacher,tarnb,,Bo,Tarn,,T7,,,,,,,\r\nu-5,tobedeleted,,true,org-1,student,gone,,Gone,Away,,0099,,,,,,,\r\nu-6,,,true,org-1,student,other,,Only,Organic,,0077,,,,,,,\r\n",
    ),
    (
        "enrollments.csv",
        "sourcedId,status,dateLastModified,classSourcedId,schoolSourcedId,userSourcedId,role,primary,beginDate,endDate\r\ne-1,,,cls-1,org-1,u-1,student,,,\r\ne-2,,,cls-1,org-1,u-2,student,,,\r\ne-3,,,cls-2,org-1,u-3,student,,,\r\ne-4,,,cls-1,org-1,u-4,teacher,true,,\r\ne-5,,,cls-2,org-1,u-5,student,,,\r\ne-6,,,cls-9,org-1,u-6,student,,,\r\ne-7,,,cls-9,org-1,u-1,student,,,\r\n",
    ),
    (
        "demographics.csv",
        "this is no table and is never looked at",
    ),
];

/// The exchange, with other text in some of its files.
pub fn roster_with(changed: &[(&str, &str, &str)]) -> Folder {
    let mut folder = Folder::default();
    for (path, text) in ROSTER {
        let mut text = text.to_owned();
        for (_, from, to) in changed.iter().filter(|(file, ..)| *file == path) {
            assert!(text.contains(from), "{from} in {path}");
            text = text.replace(from, to);
        }
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
}

/// A reader of our own for tests, which shares nothing with the one under test: rows of cells, RFC 4180.
pub fn rows(bytes: &[u8]) -> Vec<Vec<String>> {
    let text = std::str::from_utf8(bytes).expect("UTF-8");
    let (mut rows, mut row, mut cell) = (Vec::new(), Vec::new(), String::new());
    let (mut quoted, mut chars) = (false, text.chars().peekable());
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                cell.push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut cell)),
            '\r' if !quoted => {}
            '\n' if !quoted => {
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            c => cell.push(c),
        }
    }
    assert!(cell.is_empty() && row.is_empty(), "the last line ends");
    rows
}

/// The cells of a column, by its name.
pub fn column(folder: &Folder, file: &str, name: &str) -> Vec<String> {
    let rows = rows(folder.get(file).unwrap_or_else(|| panic!("no {file}")));
    let place = rows[0].iter().position(|c| c == name);
    let place = place.unwrap_or_else(|| panic!("no {name} in {file}"));
    rows[1..].iter().map(|row| row[place].clone()).collect()
}
