//! Where "now" comes from: the machine's clock, the same moved by whole days, or one moved by hand.

use app::Clock;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use std::sync::atomic::{AtomicI64, Ordering};

/// The machine's clock.
#[derive(Debug, Clone, Copy)]
pub struct MachineClock;

impl Clock for MachineClock {
    fn now(&self) -> DateTime<Utc> {
        Utc::now()
    }
}

/// The machine's clock moved by whole days, so that another day than today can be tried out.
#[derive(Debug, Clone, Copy)]
pub struct MovedClock {
    by: TimeDelta,
}

impl MovedClock {
    /// A clock on which today, at the site, is that day.
    pub fn to(day: NaiveDate, site: Tz) -> Self {
        let today = Utc::now().with_timezone(&site).date_naive();
        Self { by: day - today }
    }
}

impl Clock for MovedClock {
    fn now(&self) -> DateTime<Utc> {
        let now = Utc::now();
        now.checked_add_signed(self.by).unwrap_or(now)
    }
}

/// A clock that stands still until it is moved: the demo's history is played by it.
#[derive(Debug)]
pub struct HandMovedClock {
    micros: AtomicI64,
}

impl HandMovedClock {
    /// A clock that stands at an instant.
    pub fn at(instant: DateTime<Utc>) -> Self {
        Self { micros: AtomicI64::new(instant.timestamp_micros()) }
    }

    /// Moves it.
    pub fn set(&self, instant: DateTime<Utc>) {
        self.micros.store(instant.timestamp_micros(), Ordering::SeqCst);
    }
}

impl Clock for HandMovedClock {
    fn now(&self) -> DateTime<Utc> {
        DateTime::from_timestamp_micros(self.micros.load(Ordering::SeqCst)).unwrap_or_default()
    }
}

/// A time of day at the site, as an instant. Where clocks are put forward over it, the instant after the gap.
pub fn instant_at(day: NaiveDate, time: NaiveTime, site: Tz) -> DateTime<Utc> {
    let local = day.and_time(time);
    site.from_local_datetime(&local)
        .earliest()
        .or_else(|| site.from_local_datetime(&(local + TimeDelta::hours(1))).earliest())
        .map_or_else(|| local.and_utc(), |instant| instant.with_timezone(&Utc))
}

/// The day so many days later, or earlier below nought; the day itself beyond the calendar.
pub fn moved_by(day: NaiveDate, days: i64) -> NaiveDate {
    let count = Days::new(days.unsigned_abs());
    let moved = if days < 0 { day.checked_sub_days(count) } else { day.checked_add_days(count) };
    moved.unwrap_or(day)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        domain::dates::parse_date(text).unwrap()
    }

    #[test]
    fn a_moved_clock_shows_the_day_asked_for_at_the_site() {
        for site in [Tz::UTC, Tz::Pacific__Auckland, Tz::America__Los_Angeles] {
            let clock = MovedClock::to(day("2028-02-29"), site);
            assert_eq!(clock.now().with_timezone(&site).date_naive(), day("2028-02-29"), "{site}");
        }
    }

    #[test]
    fn a_clock_moved_by_hand_stands_still() {
        let eight = NaiveTime::from_hms_opt(8, 0, 0).unwrap();
        let clock = HandMovedClock::at(instant_at(day("2026-07-01"), eight, Tz::Europe__London));
        assert_eq!(clock.now().to_rfc3339(), "2026-07-01T07:00:00+00:00");
        assert_eq!(clock.now(), clock.now());
    }

    /// Clocks in the EU and the UK go from 01:00 to 02:00 on the last Sunday of March (Directive 2000/84/EC).
    #[test]
    fn an_hour_that_does_not_exist_is_the_one_after() {
        let half_past_one = NaiveTime::from_hms_opt(1, 30, 0).unwrap();
        let instant = instant_at(day("2026-03-29"), half_past_one, Tz::Europe__London);
        assert_eq!(instant.to_rfc3339(), "2026-03-29T01:30:00+00:00");
    }

    #[test]
    fn days_are_moved_over_leap_days() {
        assert_eq!(moved_by(day("2028-02-28"), 2), day("2028-03-01"));
        assert_eq!(moved_by(day("2028-03-01"), -1), day("2028-02-29"));
    }
}
