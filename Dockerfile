# Web, worker and beat run from this one image; docker-compose.yml says which is which.
FROM python:3.11-slim

ENV PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    PIP_NO_CACHE_DIR=1 \
    PIP_DISABLE_PIP_VERSION_CHECK=1 \
    WYTHE_PRODUCTION=yes \
    WYTHE_MEDIA=/srv/media

RUN useradd --system --uid 10001 --create-home wythe \
    && install -d -o wythe -g wythe /srv/media

WORKDIR /srv/wythe
# Only files whose SHA-256 is written down, and none that would have to be built by something that isn't.
COPY .ci/hashes.txt ./
RUN pip install --require-hashes --only-binary=:all: -r hashes.txt

COPY LICENSE manage.py ./
COPY portfolio portfolio
COPY inspections inspections
# Once for all processes; none of them may write here.
RUN python -m compileall -q portfolio inspections

# The key is only there because settings refuse to load without one; it signs nothing and is not kept.
RUN WYTHE_SECRET_KEY=$(python -c "import secrets; print(secrets.token_hex(32))") \
       python manage.py collectstatic --noinput

USER wythe
VOLUME /srv/media
EXPOSE 8000
CMD ["gunicorn", "portfolio.wsgi:application", "--bind=0.0.0.0:8000", "--workers=3", "--threads=4", \
     "--worker-tmp-dir=/dev/shm", "--access-logfile=-"]
