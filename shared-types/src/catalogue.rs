//! The catalogue of every body ever written, `name.vN`. It only grows: an old shape is read for ever.

use crate::bodies::*;
use crate::older::{SettleV1, YardV1};
use serde::Serialize;
use serde_json::value::RawValue;

#[derive(Debug, thiserror::Error)]
pub enum BodyError {
    #[error("\"{0}\" is no kind of entry that this version knows")]
    UnknownKind(String),
    #[error("{kind}: {source}")]
    Shape { kind: &'static str, source: serde_json::Error },
}

/// Who may ask for an entry of a kind, and through which door it comes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Door {
    Fact,
    /// Asked for by this imperative.
    Decision(&'static str),
    /// Written by the log itself.
    Log,
}

macro_rules! catalogue {
    ($($variant:ident($type:ty) = $name:literal, $version:literal, $door:expr;)*) => {
        /// One entry's body, read as the newest shape of its kind. The order is the rank of kinds within one instant.
        #[derive(Clone, PartialEq, Eq, Debug)]
        pub enum Body { $($variant($type)),* }

        /// The same without what was said, numbered in the catalogue's order.
        #[derive(Clone, Copy, PartialEq, Eq, Debug)]
        pub enum BodyKind { $($variant),* }

        /// Every kind: name with version, and its door.
        pub const KINDS: &[(&str, Door)] = &[$((concat!($name, ".v", $version), $door)),*];

        impl Body {
            /// The name it is stored under: `roll_taken_out.v1`.
            pub fn kind(&self) -> &'static str {
                match self { $(Body::$variant(_) => concat!($name, ".v", $version)),* }
            }

            /// What it says something of.
            pub fn of(&self) -> BodyKind {
                match self { $(Body::$variant(_) => BodyKind::$variant),* }
            }

            /// Its place among kinds at one instant: the order of the catalogue.
            pub fn rank(&self) -> u8 {
                self.of() as u8
            }

            /// The name people use: `roll_taken_out`.
            pub fn plain_kind(&self) -> &'static str {
                self.of().plain()
            }

            pub fn door(&self) -> Door {
                self.of().door()
            }

            /// Reads a body; a kind without a version means the newest.
            pub fn read(kind: &str, body: &str) -> Result<Body, BodyError> {
                if let Some(read) = read_older(kind, body) {
                    return read;
                }
                match kind {
                    $(concat!($name, ".v", $version) | $name => serde_json::from_str(body)
                        .map(Body::$variant)
                        .map_err(|source| BodyError::Shape { kind: $name, source }),)*
                    other => Err(BodyError::UnknownKind(other.chars().take(60).collect())),
                }
            }

            /// The body as it is stored.
            pub fn write(&self) -> serde_json::Result<Box<RawValue>> {
                match self { $(Body::$variant(body) => serde_json::value::to_raw_value(body)),* }
            }
        }

        impl BodyKind {
            pub const ALL: &[BodyKind] = &[$(BodyKind::$variant),*];

            pub fn door(self) -> Door {
                match self { $(BodyKind::$variant => $door),* }
            }

            /// The name people use: `roll_taken_out`.
            pub fn plain(self) -> &'static str {
                match self { $(BodyKind::$variant => $name),* }
            }
        }

        impl Serialize for Body {
            fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                match self { $(Body::$variant(body) => body.serialize(to)),* }
            }
        }
    };
}

catalogue! {
    RollReceived(RollReceived) = "roll_received", 1, Door::Fact;
    RollPutAway(PutAway) = "roll_put_away", 1, Door::Fact;
    KitPutAway(PutAway) = "kit_put_away", 1, Door::Fact;
    RollTakenOut(TakenOut) = "roll_taken_out", 1, Door::Fact;
    KitTakenOut(TakenOut) = "kit_taken_out", 1, Door::Fact;
    Seen(Seen) = "seen", 1, Door::Fact;
    NestCut(NestCut) = "nest_cut", 1, Door::Fact;
    PliesLaid(PliesLaid) = "plies_laid", 1, Door::Fact;
    OvenRunStarted(OvenRunStarted) = "oven_run_started", 1, Door::Fact;
    LayupCompleted(LayupCompleted) = "layup_completed", 1, Door::Fact;
    OvenRunEnded(OvenRunEnded) = "oven_run_ended", 1, Door::Fact;
    OvenRunInterrupted(OvenRunInterrupted) = "oven_run_interrupted", 1, Door::Fact;
    PartInstalled(InBoat) = "part_installed", 1, Door::Fact;
    PartRemoved(InBoat) = "part_removed", 1, Door::Fact;
    Disposed(Disposed) = "disposed", 1, Door::Fact;
    DeliveryArrived(DeliveryArrived) = "delivery_arrived", 1, Door::Fact;
    YardDeclared(Yard) = "yard_declared", 2, Door::Decision("declare_yard");
    PlaceDeclared(Place) = "place_declared", 1, Door::Decision("declare_place");
    MaterialRevised(Revision) = "material_revised", 1, Door::Decision("revise_material");
    BatchRegistered(Batch) = "batch_registered", 1, Door::Decision("register_batch");
    JobOpened(Job) = "job_opened", 1, Door::Decision("open_job");
    JobReplanned(Job) = "job_replanned", 1, Door::Decision("replan_job");
    BoatDeclared(BoatList) = "boat_declared", 1, Door::Decision("declare_boat");
    Issued(Issue) = "issued", 1, Door::Decision("issue");
    HoldPlaced(PlaceHold) = "hold_placed", 1, Door::Decision("place_hold");
    HoldLifted(LiftHold) = "hold_lifted", 1, Door::Decision("lift_hold");
    EntryStruck(Strike) = "entry_struck", 1, Door::Decision("strike");
    FactConfirmed(Confirm) = "fact_confirmed", 1, Door::Decision("confirm");
    MismatchSettled(Settle) = "mismatch_settled", 2, Door::Decision("settle");
    LogLoaded(LogLoaded) = "log_loaded", 1, Door::Log;
    LogCut(LogCut) = "log_cut", 1, Door::Log;
    SetAside(SetAside) = "entry_set_aside", 1, Door::Log;
    ClockChecked(ClockChecked) = "clock_checked", 1, Door::Log;
    RolesGranted(GrantRoles) = "roles_granted", 1, Door::Decision("grant_roles");
    DeviceEnrolled(EnrolDevice) = "device_enrolled", 1, Door::Decision("enrol_device");
    DeviceRevoked(RevokeDevice) = "device_revoked", 1, Door::Decision("revoke_device");
    TokenIssued(IssueToken) = "token_issued", 1, Door::Decision("issue_token");
    TokenRevoked(RevokeToken) = "token_revoked", 1, Door::Decision("revoke_token");
    SignedIn(SignedIn) = "signed_in", 1, Door::Log;
    RightRefused(RightRefused) = "right_refused", 1, Door::Log;
    DoneBeside(DoneBeside) = "done_beside", 1, Door::Log;
}

/// Shapes that were written once, and what they are read as.
macro_rules! older {
    ($($name:literal, $version:literal, $old:ty => $variant:ident;)*) => {
        /// Every older shape: its name with version.
        pub const OLDER: &[&str] = &[$(concat!($name, ".v", $version)),*];

        fn read_older(kind: &str, body: &str) -> Option<Result<Body, BodyError>> {
            match kind {
                $(concat!($name, ".v", $version) => Some(serde_json::from_str::<$old>(body)
                    .map(|old| Body::$variant(old.into()))
                    .map_err(|source| BodyError::Shape { kind: $name, source })),)*
                _ => None,
            }
        }
    };
}

older! {
    "yard_declared", 1, YardV1 => YardDeclared;
    "mismatch_settled", 1, SettleV1 => MismatchSettled;
}

impl Body {
    pub fn is_fact(&self) -> bool {
        matches!(self.door(), Door::Fact)
    }

    /// The stored kind that an imperative asks for.
    pub fn asked_by(decide: &str) -> Option<&'static str> {
        KINDS.iter().find(|(_, door)| matches!(door, Door::Decision(asked) if *asked == decide)).map(|(name, _)| *name)
    }
}
