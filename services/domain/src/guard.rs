//! One thing's history must not take the yard down: a panic in its fold is caught, and that thing can't be said.

use std::panic::{AssertUnwindSafe, catch_unwind};

/// What a fold gives, or nothing when it panicked. The book is only read, so nothing can be half done.
pub(crate) fn guarded<T>(fold: impl FnOnce() -> T) -> Option<T> {
    catch_unwind(AssertUnwindSafe(fold)).ok()
}
