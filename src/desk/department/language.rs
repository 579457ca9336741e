//! The language of what courses share: a department has none of its own to choose, its courses have.

use super::{Department, Lists};
use crate::ids::CourseKey;
use crate::language::Language;
use crate::store::StoreError;
use crate::store::accounts::AccountId;

impl Department {
    /// In what pages are that no course stands behind: in the language of the course that they lead to, or of all courses of
    /// whoever is signed in, or of all courses there are; where those are of several, in that of the department.
    pub async fn language(
        &self,
        to: Option<&CourseKey>,
        id: Option<&AccountId>,
    ) -> Result<Language, StoreError> {
        let of = |lists: &Lists| lists.course.as_ref().map(|course| course.language);
        let courses = self.courses().await?;
        if let Some((_, lists, _)) = courses.iter().find(|one| Some(&one.0) == to)
            && let Some(language) = of(lists)
        {
            return Ok(language);
        }
        let own = match id {
            Some(id) => self.courses_of(id).await?,
            None => Vec::new(),
        };
        let own = own.iter().filter_map(|one| of(&one.lists)).collect();
        let all = courses
            .iter()
            .filter_map(|(_, lists, _)| of(lists))
            .collect();
        let same = |languages: Vec<Language>| {
            let first = *languages.first()?;
            languages.iter().all(|one| *one == first).then_some(first)
        };
        Ok(match same(own).or_else(|| same(all)) {
            Some(language) => language,
            None => self.people.look().await?.term.course.language,
        })
    }
}
