//! The router, with a list of what is in it, so that a test can walk every route.

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::handler::Handler;
use axum::routing::get;
use axum::routing::post;

use crate::app::App;
use crate::limits;

/// A router and the list of its routes.
#[derive(Debug, Default)]
pub struct Routes {
    router: Router<App>,
    list: Vec<(&'static str, &'static str)>,
}

impl Routes {
    /// No routes.
    pub fn new() -> Self {
        Self::default()
    }

    /// A page. It changes nothing.
    #[must_use]
    pub fn get<T: 'static>(self, path: &'static str, handler: impl Handler<T, App>) -> Self {
        self.with("GET", path, get(handler))
    }

    /// An act. The guard has read its form; the handler takes it as [`Typed`](crate::typed::Typed).
    #[must_use]
    pub fn post<T: 'static>(self, path: &'static str, handler: impl Handler<T, App>) -> Self {
        self.with("POST", path, post(handler))
    }

    /// An act that brings a file. The body comes as it is, as far as [`limits::UPLOAD_READ`]; the handler reads
    /// it by [`Uploads`](crate::uploads::Uploads) and the guard proves it by the header `x-csrf`.
    #[must_use]
    pub fn upload<T: 'static>(self, path: &'static str, handler: impl Handler<T, App>) -> Self {
        self.with("POST", path, post(handler).layer(DefaultBodyLimit::max(limits::UPLOAD_READ)))
    }

    /// With the routes of another page.
    #[must_use]
    pub fn and(mut self, other: Self) -> Self {
        self.list.extend(other.list);
        self.router = self.router.merge(other.router);
        self
    }

    /// Every route: method and path.
    pub fn list(&self) -> &[(&'static str, &'static str)] {
        &self.list
    }

    /// The router.
    pub fn into_router(self) -> Router<App> {
        self.router
    }

    fn with(
        mut self,
        method: &'static str,
        path: &'static str,
        to: axum::routing::MethodRouter<App>,
    ) -> Self {
        self.list.push((method, path));
        self.router = self.router.route(path, to);
        self
    }
}
