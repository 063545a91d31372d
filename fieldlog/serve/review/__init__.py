"""The reviewer's page, one face of the workshop in the browser."""
