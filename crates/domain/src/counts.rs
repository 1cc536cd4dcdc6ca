//! Counting the shelf. A session begins with what stands on the books; what is found is held against what stood on them at the
//! moment of counting, so that what moved in between is no difference. Outside the tolerance it is counted again, and nothing is
//! booked before somebody else has approved it.

use chrono::{DateTime, Utc};
use kernel::{
    Percent, Quantity,
    ids::{CountId, LotId, MaterialId, MovementId},
};
use serde::{Deserialize, Serialize};

/// How closely a material is counted, by what a year's use of it is worth: the few dear ones most often and most closely.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CountClass {
    /// The dearest.
    A,
    /// Those between.
    B,
    /// The many cheap ones.
    C,
}

impl CountClass {
    /// All classes.
    pub const ALL: [Self; 3] = [Self::A, Self::B, Self::C];

    /// What a count may differ without being repeated: 1 %, 3 % and 5 % (common practice, no source). A material may have its own.
    pub fn tolerance(self) -> Percent {
        Percent::from_nano(match self {
            Self::A => 1_000_000_000,
            Self::B => 3_000_000_000,
            Self::C => 5_000_000_000,
        })
    }
}

/// How a material is counted, and whether it bounds the expiry of what is made with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct StockRule {
    /// The material.
    pub material: MaterialId,
    /// How closely it is counted; class C when nothing is said.
    pub count_class: Option<CountClass>,
    /// Its own tolerance, instead of its class's.
    pub count_tolerance: Option<Percent>,
    /// Whether nothing made with it may last longer than it does.
    pub bounds_expiry: bool,
}

impl StockRule {
    /// The rule of a material for which none was entered.
    pub const fn usual(material: MaterialId) -> Self {
        Self { material, count_class: None, count_tolerance: None, bounds_expiry: false }
    }

    /// What a count may differ without being repeated.
    pub fn tolerance(&self) -> Percent {
        self.count_tolerance.unwrap_or_else(|| self.count_class.unwrap_or(CountClass::C).tolerance())
    }
}

/// Where a count stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CountStatus {
    /// Counting goes on.
    Open,
    /// Approved and booked.
    Closed,
    /// Given up; nothing was booked.
    Abandoned,
}

impl CountStatus {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Open, Self::Closed, Self::Abandoned];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Closed => "closed",
            Self::Abandoned => "abandoned",
        }
    }
}

/// What somebody found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Found {
    /// How much.
    pub quantity: Quantity,
    /// What stood on the books at that moment.
    pub booked: Quantity,
    /// When.
    pub at: DateTime<Utc>,
    /// Who counted.
    pub by: String,
}

/// One lot of a count.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountLine {
    /// The lot.
    pub lot: LotId,
    /// What stood on the books when the session began.
    pub booked: Quantity,
    /// What a count may differ without being repeated.
    pub tolerance: Percent,
    /// What was found first.
    pub found: Option<Found>,
    /// What was found on counting again.
    pub again: Option<Found>,
    /// The movement the difference was booked by.
    pub movement: Option<MovementId>,
}

/// How a line of a count stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CountVerdict {
    /// Not counted yet.
    ToCount,
    /// Found outside the tolerance, and to be counted again.
    ToCountAgain,
    /// Found within the tolerance.
    Within,
    /// Counted again, and outside the tolerance still.
    Outside,
}

/// A session of counting.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Count {
    /// Identity.
    pub id: CountId,
    /// Its number.
    pub number: String,
    /// Whether those who count are kept from seeing what stands on the books.
    pub blind: bool,
    /// Where it stands.
    pub status: CountStatus,
    /// When it began: what stood on the books then is what it starts from.
    pub opened_at: DateTime<Utc>,
    /// Who began it.
    pub opened_by: String,
    /// When it ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// Who approved it or gave it up.
    pub ended_by: Option<String>,
    /// Why, in the words of whoever ended it.
    pub reason: Option<String>,
    /// The lots.
    pub lines: Vec<CountLine>,
}

impl CountLine {
    /// What counts: the second count where there is one.
    pub fn settled(&self) -> Option<&Found> {
        self.again.as_ref().or(self.found.as_ref())
    }

    /// What was found less what stood on the books at that moment, in the scaled integer of the lot's dimension.
    pub fn difference(&self) -> Option<i64> {
        self.settled().map(Found::difference)
    }

    /// How it stands.
    pub fn verdict(&self) -> CountVerdict {
        match (&self.found, &self.again) {
            (None, _) => CountVerdict::ToCount,
            (Some(found), None) if within(found, self.tolerance) => CountVerdict::Within,
            (Some(_), None) => CountVerdict::ToCountAgain,
            (Some(_), Some(again)) if within(again, self.tolerance) => CountVerdict::Within,
            (Some(_), Some(_)) => CountVerdict::Outside,
        }
    }
}

impl Found {
    /// What was found less what stood on the books.
    pub fn difference(&self) -> i64 {
        self.quantity.raw().saturating_sub(self.booked.raw())
    }
}

/// Whether what was found lies within a tolerance of what stood on the books. Of nothing on the books nothing may be found.
fn within(found: &Found, tolerance: Percent) -> bool {
    let difference = i128::from(found.difference()).abs();
    // |difference| ≤ booked × tolerance, in whole numbers: a percent has nine places of its own.
    difference * 100_000_000_000 <= i128::from(found.booked.raw()) * i128::from(tolerance.nano())
}

impl Count {
    /// How many lines were found within their tolerance the first time, of those counted: a surplus here does not make good a loss
    /// there.
    pub fn right_at_first(&self) -> (usize, usize) {
        let counted = self.lines.iter().filter_map(|line| line.found.as_ref().map(|found| (line, found)));
        counted.fold((0, 0), |(right, all), (line, found)| {
            (right + usize::from(within(found, line.tolerance)), all + 1)
        })
    }

    /// Whether somebody counted in it.
    pub fn counted_by(&self, name: &str) -> bool {
        self.lines.iter().flat_map(|line| line.found.iter().chain(&line.again)).any(|found| found.by == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kernel::Mass;

    fn found(quantity: i64, booked: i64) -> Found {
        let kg = |kg: i64| Quantity::Mass(Mass::from_micrograms(kg));
        Found { quantity: kg(quantity), booked: kg(booked), at: DateTime::UNIX_EPOCH, by: "A".into() }
    }

    fn line(first: Option<Found>, again: Option<Found>) -> CountLine {
        CountLine {
            lot: LotId::new(),
            booked: Quantity::Mass(Mass::from_micrograms(1_000)),
            tolerance: CountClass::B.tolerance(),
            found: first,
            again,
            movement: None,
        }
    }

    #[test]
    fn verdicts() {
        for (first, again, verdict) in [
            (None, None, CountVerdict::ToCount),
            (Some(found(970, 1_000)), None, CountVerdict::Within),
            (Some(found(1_030, 1_000)), None, CountVerdict::Within),
            (Some(found(969, 1_000)), None, CountVerdict::ToCountAgain),
            (Some(found(969, 1_000)), Some(found(990, 1_000)), CountVerdict::Within),
            (Some(found(969, 1_000)), Some(found(969, 1_000)), CountVerdict::Outside),
            // What moved in between is no difference.
            (Some(found(600, 600)), None, CountVerdict::Within),
            (Some(found(1, 0)), None, CountVerdict::ToCountAgain),
            (Some(found(0, 0)), None, CountVerdict::Within),
        ] {
            assert_eq!(line(first.clone(), again.clone()).verdict(), verdict, "{first:?} {again:?}");
        }
        let twice = line(Some(found(969, 1_000)), Some(found(960, 980)));
        assert_eq!(twice.difference(), Some(-20));
    }

    /// A surplus of one lot and a loss of another are two wrong lines, not none.
    #[test]
    fn nothing_is_netted() {
        let count = Count {
            id: CountId::new(),
            number: "C-1".into(),
            blind: true,
            status: CountStatus::Open,
            opened_at: DateTime::UNIX_EPOCH,
            opened_by: "B".into(),
            ended_at: None,
            ended_by: None,
            reason: None,
            lines: vec![
                line(Some(found(1_100, 1_000)), None),
                line(Some(found(900, 1_000)), None),
                line(Some(found(1_000, 1_000)), None),
                line(None, None),
            ],
        };
        assert_eq!(count.right_at_first(), (1, 3));
        assert!(count.counted_by("A") && !count.counted_by("B"));
    }
}
