"""The ASGI entry, which the server is given."""

from pitbird.app.front import Front
from pitbird.app.wsgi import application as pages

application = Front(pages)
