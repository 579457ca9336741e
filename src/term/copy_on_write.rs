//! What seldom changes, shared by the copies of a course.

use std::ops::{Deref, DerefMut};
use std::sync::Arc;

/// Reads as what it holds. It is copied when one of those that share it is about to change it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CopyOnWrite<T>(Arc<T>);

impl<T> From<T> for CopyOnWrite<T> {
    fn from(held: T) -> Self {
        Self(Arc::new(held))
    }
}

impl<T> Deref for CopyOnWrite<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: Clone> DerefMut for CopyOnWrite<T> {
    fn deref_mut(&mut self) -> &mut T {
        Arc::make_mut(&mut self.0)
    }
}

impl<'h, T> IntoIterator for &'h CopyOnWrite<T>
where
    &'h T: IntoIterator,
{
    type Item = <&'h T as IntoIterator>::Item;
    type IntoIter = <&'h T as IntoIterator>::IntoIter;

    fn into_iter(self) -> Self::IntoIter {
        self.0.as_ref().into_iter()
    }
}

impl<'h, T: Clone> IntoIterator for &'h mut CopyOnWrite<T>
where
    &'h mut T: IntoIterator,
{
    type Item = <&'h mut T as IntoIterator>::Item;
    type IntoIter = <&'h mut T as IntoIterator>::IntoIter;

    fn into_iter(self) -> Self::IntoIter {
        Arc::make_mut(&mut self.0).into_iter()
    }
}

impl<A, T: FromIterator<A>> FromIterator<A> for CopyOnWrite<T> {
    fn from_iter<I: IntoIterator<Item = A>>(all: I) -> Self {
        Self(Arc::new(T::from_iter(all)))
    }
}
