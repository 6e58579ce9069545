"""How the parts are started: settings, addresses, the WSGI entry."""
