//! Pages of long lists.

/// Part of a long list. The next page begins after the id of the last row of this one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page<T> {
    /// The rows, in the order of the list.
    pub rows: Vec<T>,
    /// Whether more follow.
    pub has_more: bool,
}

impl<T> Page<T> {
    /// A page of `limit` rows from a list that was read to one row more.
    pub(crate) fn cut(mut rows: Vec<T>, limit: u32) -> Self {
        let limit = usize::try_from(limit).unwrap_or(usize::MAX);
        let has_more = rows.len() > limit;
        rows.truncate(limit);
        Self { rows, has_more }
    }

    /// The same page of something else.
    pub fn map<U>(self, f: impl FnMut(T) -> U) -> Page<U> {
        Page { rows: self.rows.into_iter().map(f).collect(), has_more: self.has_more }
    }
}
