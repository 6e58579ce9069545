"""The settings under test: pitbird's own, in a home folder that is thrown away.

PITBIRD_TEST_DATABASE, where set, names the PostgreSQL to test on in place of SQLite in memory.
"""

import atexit
import os
import shutil
import tempfile

for _name in [name for name in os.environ if name.startswith("PITBIRD_")]:
    if not _name.startswith("PITBIRD_TEST_") and _name != "PITBIRD_CHROMIUM":
        del os.environ[_name]
os.environ["PITBIRD_HOME"] = tempfile.mkdtemp(prefix="pitbird-home-")
atexit.register(shutil.rmtree, os.environ["PITBIRD_HOME"], ignore_errors=True)
if os.environ.get("PITBIRD_TEST_DATABASE"):
    os.environ["PITBIRD_DATABASE"] = os.environ["PITBIRD_TEST_DATABASE"]

from pitbird.app.settings import *  # noqa: E402, F403

# Plain and quick: these passwords guard nothing.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
