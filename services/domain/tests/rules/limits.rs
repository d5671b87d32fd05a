//! The limits: what each counts, at which act it is tested, and what it looks ahead to.
