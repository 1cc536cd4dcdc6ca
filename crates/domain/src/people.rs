//! Who asks, and what they may do.

use serde::{Deserialize, Serialize};
use std::{collections::BTreeSet, fmt};

/// What a role allows. Looking needs [`Capability::Look`]; each kind of change its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Capability {
    /// Read everything.
    Look,
    /// Write, allocate, weigh and complete tickets; count.
    PlanAndMake,
    /// Suppliers, quotations, rates, receipts.
    Buy,
    /// Release, hold and reject lots.
    ReleaseAndReject,
    /// Approve and retire formula versions.
    ApproveFormulas,
    /// Import, tokens, settings, reversals.
    Administer,
}

impl Capability {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Look,
        Self::PlanAndMake,
        Self::Buy,
        Self::ReleaseAndReject,
        Self::ApproveFormulas,
        Self::Administer,
    ];

    /// The name used on the command line and in settings.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Look => "look",
            Self::PlanAndMake => "plan-and-make",
            Self::Buy => "buy",
            Self::ReleaseAndReject => "release-and-reject",
            Self::ApproveFormulas => "approve-formulas",
            Self::Administer => "administer",
        }
    }

    /// The capability of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name.trim())
    }
}

impl fmt::Display for Capability {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// The person or programme a request comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Actor {
    /// The name that stands in the audit trail and on tickets.
    pub name: String,
    /// What they may do.
    pub capabilities: BTreeSet<Capability>,
}

impl Actor {
    /// Somebody who may do everything: the command line on the machine itself, and the open demo.
    pub fn with_all_capabilities(name: impl Into<String>) -> Self {
        Self { name: name.into(), capabilities: Capability::ALL.into_iter().collect() }
    }

    /// Whether they may.
    pub fn may(&self, capability: Capability) -> bool {
        self.capabilities.contains(&capability)
    }
}
