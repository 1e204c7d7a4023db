//! The pages, one file for each place in the navigation.

pub mod about;
pub mod accounts;
pub mod agreement;
pub mod audit;
pub mod compare;
pub mod criteria;
pub mod desk;
pub mod home;
pub mod links;
pub mod login;
pub mod night;
pub mod nights;
pub mod password;
pub mod retention;
pub mod scan;
pub mod service;
pub mod session;
pub mod settings;

use crate::routes::Routes;

/// Every route of the workbench.
pub fn routes() -> Routes {
    Routes::new()
        .get("/assets/{hash}/{name}", crate::assets::asset)
        .get("/live", crate::live::live)
        .and(login::routes())
        .and(session::routes())
        .and(password::routes())
        .and(home::routes())
        .and(desk::routes())
        .and(nights::routes())
        .and(night::routes())
        .and(compare::routes())
        .and(agreement::routes())
        .and(scan::routes())
        .and(criteria::routes())
        .and(accounts::routes())
        .and(links::routes())
        .and(audit::routes())
        .and(retention::routes())
        .and(service::routes())
        .and(settings::routes())
        .and(about::routes())
}
