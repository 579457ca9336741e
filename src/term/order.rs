//! The one order of people, in which every list, sheet, grid and file has them.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::Term;
use crate::course::Student;

impl Term {
    /// All students in the order of people: by family name, then given name, then id. The roster keeps its own order.
    pub fn in_order(&self) -> Vec<&Student> {
        in_order(self.students.iter().collect())
    }

    /// Those of a section, in the order of people.
    pub fn enrolled_of<'t>(&'t self, section: &str) -> Vec<&'t Student> {
        let own = self.enrolled().filter(|student| student.section == section);
        in_order(own.collect())
    }

    /// Students who have not left, in the order of people.
    pub fn enrolled_in_order(&self) -> impl Iterator<Item = &Student> {
        self.in_order().into_iter().filter(|s| s.is_enrolled())
    }
}

/// A text as it is looked for: its letters without accents and case.
pub fn plain_letters(text: &str) -> String {
    collated(text).0
}

fn in_order(mut students: Vec<&Student>) -> Vec<&Student> {
    students.sort_by_cached_key(|student| {
        let (family, given) = (&student.family_name, &student.given_name);
        (collated(family), collated(given), &student.id)
    });
    students
}

/// What a name is sorted by: its letters without accents and case, then with accents, then as it is written.
fn collated(name: &str) -> (String, String, &str) {
    let accented: String = name.nfd().flat_map(char::to_lowercase).collect();
    let mut letters = String::with_capacity(name.len());
    for c in accented.chars().filter(|c| !is_combining_mark(*c)) {
        match without_stroke(c) {
            Some(plain) => letters.push_str(plain),
            None if c.is_alphanumeric() => letters.push(c),
            // a double name sorts as two words
            None if c.is_whitespace() || matches!(c, '-' | '\u{2010}'..='\u{2015}') => {
                letters.push(' ')
            }
            // an apostrophe, straight or curved, sorts as if it were not there
            None => {}
        }
    }
    (letters, accented, name)
}

/// Latin letters that Unicode takes for letters of their own and that sort beside or as others.
fn without_stroke(c: char) -> Option<&'static str> {
    Some(match c {
        '\u{df}' => "ss",
        '\u{e6}' => "ae",
        '\u{153}' => "oe",
        '\u{fe}' => "th",
        '\u{f8}' => "o",
        '\u{111}' | '\u{f0}' => "d",
        '\u{142}' => "l",
        '\u{127}' => "h",
        '\u{131}' => "i",
        '\u{167}' => "t",
        '\u{14b}' => "n",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::collated;

    #[test]
    fn accents_stand_in_their_place() {
        let sorted = [
            "Aaltonen",
            "Ætheling",
            "Ågren",
            "Åkesson",
            "Albrecht",
            "Đorđević",
            "Dorn",
            "Łukasik",
            "Lund",
            "Muller",
            "Müller",
            "Mullins",
            "Oakes",
            "O'Brien",
            "O\u{2019}Connor",
            "Ørsted",
            "Öztürk",
            "Strasser",
            "Straßer",
            "Þórsson",
            "van den Berg",
            "Vance",
            "Wei Ling",
            "Wei-Ming",
            "Weier",
            "Żak",
            "Zander",
        ];
        let mut found = sorted.to_vec();
        found.reverse();
        found.sort_by_key(|name| collated(name));
        assert_eq!(found, sorted);
        let decomposed = "A\u{30a}gren";
        assert_eq!(collated(decomposed).0, collated("Ågren").0);
        assert_eq!(collated(decomposed).1, collated("Ågren").1);
    }
}
