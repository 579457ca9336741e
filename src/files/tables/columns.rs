//! Which column of somebody's roster says what, by what registrars call it.

use unicode_normalization::UnicodeNormalization as _;

use super::grid::{Grid, GridRow};

/// What a roster says of a student.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum RosterField {
    StudentId,
    FamilyName,
    GivenName,
    /// Both names in one, “Family, Given”.
    Name,
    Section,
    Email,
    Left,
}

/// The place of each column; none where there is no such column.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RosterColumns(Vec<(RosterField, usize)>);

impl RosterField {
    pub const ALL: [Self; 7] = [
        Self::StudentId,
        Self::FamilyName,
        Self::GivenName,
        Self::Name,
        Self::Section,
        Self::Email,
        Self::Left,
    ];

    /// As forms, options and our own files name it.
    pub fn name(self) -> &'static str {
        match self {
            Self::StudentId => "student_id",
            Self::FamilyName => "family_name",
            Self::GivenName => "given_name",
            Self::Name => "name",
            Self::Section => "section",
            Self::Email => "email",
            Self::Left => "left",
        }
    }

    pub fn label(self) -> &'static str {
        match self {
            Self::StudentId => "Student id",
            Self::FamilyName => "Family name",
            Self::GivenName => "Given name",
            Self::Name => "Both names in one column, as Family, Given",
            Self::Section => "Section",
            Self::Email => "E-mail",
            Self::Left => "The day somebody left",
        }
    }

    /// What it is called in files of others, folded.
    fn called(self) -> &'static [&'static str] {
        match self {
            Self::StudentId => &[
                "studentid",
                "id",
                "studentnumber",
                "studentno",
                "studentnr",
                "idnumber",
                "universityid",
                "sisuserid",
                "sisid",
                "orgdefinedid",
                "matrikelnummer",
                "matrikelnr",
                "matrikel",
                "matrnr",
                "matriculationnumber",
                "numero",
                "numeromecanografico",
                "numeroestudiante",
                "numerodeestudiante",
                "nummecanografico",
                "matricula",
                "numeroetudiant",
                "noetudiant",
                "netudiant",
                "identifiant",
                "matricola",
                "studentnummer",
                "opiskelijanumero",
                "nalumno",
                "numerodealumno",
                "numerodealuno",
                "registrationnumber",
            ],
            Self::FamilyName => &[
                "familyname",
                "lastname",
                "surname",
                "nachname",
                "familienname",
                "apellidos",
                "apellido",
                "nom",
                "nomdefamille",
                "cognome",
                "apelido",
                "apelidos",
                "achternaam",
                "efternamn",
                "sukunimi",
                "zuname",
            ],
            Self::GivenName => &[
                "givenname",
                "firstname",
                "forename",
                "forenames",
                "givennames",
                "vorname",
                "vornamen",
                "rufname",
                "nombre",
                "nombres",
                "prenom",
                "prenoms",
                "nome",
                "voornaam",
                "fornamn",
                "etunimi",
                "nomeproprio",
            ],
            Self::Name => &[
                "name",
                "fullname",
                "student",
                "studentname",
                "sortablename",
                "displayname",
                "nachnamevorname",
                "namevorname",
                "lastnamefirstname",
                "familygiven",
                "apellidosynombre",
                "apellidosnombre",
                "nometcognome",
                "nometprenom",
                "nomprenom",
                "nomecompleto",
                "nombrecompleto",
                "teilnehmer",
                "teilnehmerin",
            ],
            Self::Section => &[
                "section",
                "group",
                "lab",
                "labsection",
                "labgroup",
                "class",
                "gruppe",
                "praktikumsgruppe",
                "kursgruppe",
                "grupo",
                "seccion",
                "turma",
                "turno",
                "groupe",
                "sectionname",
                "sezione",
                "gruppo",
                "sektion",
                "grupp",
                "groep",
                "coursesection",
                "ryhma",
                "grupodelaboratorio",
            ],
            Self::Email => &[
                "email",
                "mail",
                "emailaddress",
                "mailadresse",
                "emailadresse",
                "correo",
                "correoelectronico",
                "courriel",
                "adresseemail",
                "adressedecourriel",
                "correioeletronico",
                "epost",
                "sahkoposti",
                "indirizzoemail",
            ],
            Self::Left => &["left"],
        }
    }
}

/// Letters and digits alone, in lower case, without their accents.
fn folded(text: &str) -> String {
    text.nfd()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .map(|c| match c {
            'ß' => 's',
            'ø' => 'o',
            'º' | 'ª' => ' ',
            c => c,
        })
        .filter(|c| c.is_ascii_alphanumeric())
        .collect()
}

impl RosterColumns {
    /// What a header says by itself; a column that two fields could claim is the first one's.
    pub fn guess(header: &GridRow) -> Self {
        let mut columns = Self::default();
        let names: Vec<String> = header.cells.iter().map(|name| folded(name)).collect();
        for field in RosterField::ALL {
            let taken = |place: &usize| columns.0.iter().any(|(_, other)| other == place);
            let named = names.iter().enumerate();
            let is_called = |name: &str| field.called().contains(&name);
            let mut named = named.filter(|(place, name)| !taken(place) && is_called(name));
            if let Some((place, _)) = named.next() {
                columns.0.push((field, place));
            }
        }
        // "Name" beside a given name is the family name
        if columns.get(RosterField::GivenName).is_some()
            && columns.get(RosterField::FamilyName).is_none()
            && let Some(name) = columns.0.iter_mut().find(|(f, _)| *f == RosterField::Name)
        {
            name.0 = RosterField::FamilyName;
        }
        let both = [RosterField::FamilyName, RosterField::GivenName];
        if both.iter().all(|field| columns.get(*field).is_some()) {
            columns.0.retain(|(field, _)| *field != RosterField::Name);
        }
        columns
    }

    /// The columns of these names in a header; a name that is not there is left out.
    pub fn named<'n>(
        header: &GridRow,
        names: impl Iterator<Item = (RosterField, &'n str)>,
    ) -> Self {
        let place = |name: &str| {
            header
                .cells
                .iter()
                .position(|cell| cell.trim() == name.trim())
        };
        let found = names.filter_map(|(field, name)| Some((field, place(name)?)));
        Self(found.collect())
    }

    pub fn get(&self, field: RosterField) -> Option<usize> {
        let mut all = self.0.iter();
        all.find(|(known, _)| *known == field)
            .map(|(_, place)| *place)
    }

    pub fn set(&mut self, field: RosterField, place: Option<usize>) {
        self.0.retain(|(known, _)| *known != field);
        self.0.extend(place.map(|place| (field, place)));
    }

    pub fn all(&self) -> impl Iterator<Item = (RosterField, usize)> + '_ {
        self.0.iter().copied()
    }

    /// What is missing so that students can be read, in words; none where nothing is.
    pub fn lacks(&self) -> Vec<RosterField> {
        let has = |field| self.get(field).is_some();
        let mut lacking = Vec::new();
        let names = [RosterField::FamilyName, RosterField::GivenName];
        lacking.extend((!has(RosterField::StudentId)).then_some(RosterField::StudentId));
        if !has(RosterField::Name) {
            lacking.extend(names.into_iter().filter(|field| !has(*field)));
        }
        lacking.extend((!has(RosterField::Section)).then_some(RosterField::Section));
        lacking
    }
}

/// Rows among which a header may stand: there may be a title above it.
const FIRST_ROWS: usize = 15;

/// The table of a file that names people best, and the place of its header.
pub(super) fn best<'g>(
    grids: &'g [Grid],
    guess: &impl Fn(&GridRow) -> RosterColumns,
) -> Option<(&'g Grid, usize, RosterColumns)> {
    let mut best: Option<(usize, &Grid, usize, RosterColumns)> = None;
    for grid in grids {
        for (place, row) in grid.rows.iter().enumerate().take(FIRST_ROWS) {
            let columns = guess(row);
            let count = columns.0.len();
            if best.as_ref().is_none_or(|(most, ..)| count > *most) {
                best = Some((count, grid, place, columns));
            }
        }
    }
    let (count, grid, place, columns) = best?;
    if count > 0 {
        return Some((grid, place, columns));
    }
    // nothing is known: the first row with several cells, of the table with most rows
    let grid = grids.iter().max_by_key(|grid| grid.rows.len())?;
    let several = |row: &GridRow| row.cells.iter().filter(|cell| !cell.is_empty()).count() > 2;
    let place = grid.rows.iter().position(several).unwrap_or(0);
    Some((grid, place, RosterColumns::default()))
}
