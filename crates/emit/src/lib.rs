//! Survey packages, pages and notices.
