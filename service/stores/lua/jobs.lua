-- Jobs in shards that are leased, by the words of `shards.lua`, which stands before this. One call of
-- `redis_jobs.RedisJobs` is one command: whole or not done.

local function told(token)
    local name = call('HGET', P .. 'tokens', token)
    local key, number = parts_of(name)
    local job = of(key, 'run', 'stage', 'kind', 'spec', 'began', 'spent')
    local shard = call(
        'HMGET', P .. 'shards:' .. key, 'e:' .. number, 'p:' .. number, 'a:' .. number
    )
    return {
        key, job[1], job[2], number, shard[1] or '0', job[3], job[4], shard[2] or '',
        tonumber(shard[3] or '0') + 1, job[5], job[6], now, call('ZSCORE', P .. 'leases', name)
    }
end

-- The key and number of a lease that is in force, nothing for another.
local function in_force(token)
    local name = call('HGET', P .. 'tokens', token)
    if name then
        return parts_of(name)
    end
end

local function whole(key)
    return {call('HGETALL', P .. 'job:' .. key), askers(key)}
end

-- Replace a job's progress, if there is anything to tell that was not told before.
local function tell(key, progress)
    if progress ~= '' and progress ~= call('HGET', P .. 'job:' .. key, 'progress') then
        set(key, 'progress', progress)
        seen(key)
    end
end

local commands = {}

function commands.submit(key, kind, spec, asker, each, all, spent_each)
    local state = call('HGET', P .. 'job:' .. key, 'state')
    local joins = state == 'waiting' or state == 'running'
    if state == 'done' or joins and call('ZSCORE', P .. 'askers:' .. key, asker) then
        return whole(key)
    end
    local wanted, jobs = call('SCARD', P .. 'wants:' .. asker), call('SCARD', P .. 'jobs')
    local spent, again = spent_lately(asker)
    if wanted >= tonumber(each) then
        return {'each', wanted, 0}
    end
    if not joins and jobs >= tonumber(all) then
        return {'all', jobs, 0}
    end
    if spent >= tonumber(spent_each) then
        return {'spent', spent, again}
    end
    local serial = call('HINCRBY', P .. 'counters', 'serial', 1)
    if not joins then
        if state == 'stopping' then
            clear(key)
        end
        local run, version = number_of(key, 'run') + 1, number_of(key, 'version') + 1
        call('DEL', P .. 'job:' .. key, P .. 'askers:' .. key)
        set(
            key, 'run', run, 'kind', kind, 'spec', spec, 'state', 'waiting', 'stage', 0,
            'shards', 0, 'recorded', 0, 'spent', 0, 'progress', '', 'outcome', '', 'error', '',
            'version', version, 'created', now, 'began', 0, 'ended', 0, 'leased', 0,
            'serial', serial
        )
        call('SADD', P .. 'jobs', key)
        call('ZREM', P .. 'over', key)
        open(key, 0)
        make_room()
    else
        seen(key)
    end
    call('ZADD', P .. 'askers:' .. key, serial, asker)
    call('SADD', P .. 'wants:' .. asker, key)
    charge(asker, number_of(key, 'leased'), {})
    for _, other in ipairs(call('SMEMBERS', P .. 'wants:' .. asker)) do
        rescore(other)
    end
    return whole(key)
end

function commands.job(key)
    return whole(key)
end

function commands.stop(key, asker)
    local job = of(key, 'state', 'began', 'leased')
    if not job[1] or not call('ZSCORE', P .. 'askers:' .. key, asker) then
        return whole(key)
    end
    if job[1] ~= 'waiting' and job[1] ~= 'running' then
        return whole(key)
    end
    call('ZREM', P .. 'askers:' .. key, asker)
    call('SREM', P .. 'wants:' .. asker, key)
    local touched = {}
    charge(asker, -tonumber(job[3]), touched)
    for other in pairs(touched) do
        rescore(other)
    end
    if call('ZCARD', P .. 'askers:' .. key) > 0 then
        rescore(key)
        seen(key)
    elseif job[2] == '0' then
        finish(key, 'stopped', '', '')
    else
        set(key, 'state', 'stopping')
        seen(key)
        if not call('ZSCORE', P .. 'open:' .. key, '0') then
            drop_open(key)
            settle(key)
        end
        rescore(key)
    end
    return whole(key)
end

function commands.lease(lasting, token, key, run, stage, number, epoch)
    if key then
        local job = of(key, 'run', 'stage')
        local at = call('HGET', P .. 'shards:' .. key, 'e:' .. number) or '0'
        if job[1] ~= run or job[2] ~= stage or at ~= epoch then
            return {}
        end
        if not call('ZSCORE', P .. 'open:' .. key, number) then
            return {}
        end
    else
        key = call('ZRANGE', P .. 'ready', 0, 0)[1]
        if not key then
            return {}
        end
        number = call('ZRANGE', P .. 'open:' .. key, 0, 0)[1]
    end
    take(key, tonumber(number), tonumber(lasting), token)
    return told(token)
end

function commands.renew(token, lasting, spent, progress)
    local key, number = in_force(token)
    if not key then
        return 'lost'
    end
    call('ZADD', P .. 'leases', now + tonumber(lasting), member(key, number))
    spend(key, tonumber(spent))
    tell(key, progress)
    if call('HGET', P .. 'job:' .. key, 'state') == 'stopping' then
        return 'stop'
    end
    return 'go on'
end

function commands.record(token, result, spent, lasting, plan_token)
    local key, number = in_force(token)
    if not key or number == 0 then
        return {}
    end
    call('HSET', P .. 'results:' .. key, number, result)
    call('HINCRBY', P .. 'job:' .. key, 'recorded', 1)
    unlease(member(key, number))
    spend(key, tonumber(spent))
    seen(key)
    if settle(key) then
        take(key, 0, tonumber(lasting), plan_token)
        return told(plan_token)
    end
    return {}
end

function commands.results(token)
    local key, number = in_force(token)
    if not key or number ~= 0 then
        return {}
    end
    return call('HGETALL', P .. 'earlier:' .. key)
end

-- The payloads are read from ARGV: Lua has room for some thousand arguments, but no more.
function commands.plan(token, spent, progress)
    local FIRST = 8
    local key, number = in_force(token)
    if not key or number ~= 0 then
        return 'lost'
    end
    spend(key, tonumber(spent))
    tell(key, progress)
    if call('HGET', P .. 'job:' .. key, 'state') == 'stopping' then
        return 'stop'
    end
    unlease(member(key, 0))
    call('DEL', P .. 'shards:' .. key, P .. 'earlier:' .. key)
    set(key, 'shards', #ARGV - FIRST + 1, 'recorded', 0)
    seen(key)
    for at = FIRST, #ARGV do
        local number = at - FIRST + 1
        call('HSET', P .. 'shards:' .. key, 'p:' .. number, ARGV[at])
        open(key, number)
    end
    rescore(key)
    return 'go on'
end

commands['end'] = function(token, state, outcome, reason, spent)
    local key, number = in_force(token)
    if not key or number ~= 0 and state ~= 'failed' then
        return 0
    end
    unlease(member(key, number))
    spend(key, tonumber(spent))
    finish(key, state, outcome, reason)
    return 1
end

function commands.give_back(token, spent)
    local key, number = in_force(token)
    if key then
        unlease(member(key, number))
        spend(key, tonumber(spent))
        reopen(key, number)
    end
end

function commands.fail(token, reason, spent)
    local key, number = in_force(token)
    if key then
        unlease(member(key, number))
        spend(key, tonumber(spent))
        failed(key, number, reason)
    end
end

function commands.present(worker, lasting)
    if tonumber(lasting) > 0 then
        call('ZADD', P .. 'workers', now + tonumber(lasting), worker)
    else
        call('ZREM', P .. 'workers', worker)
    end
end

-- Each line as if those before it were leased, so that the askers take turns here too. Jobs are
-- read from `ready` only as far as one further down could come before those that were read.
function commands.waiting(most)
    most = tonumber(most)
    local lines, pool, read = {}, {}, 0
    local counts = {}
    local function leases(job)
        if job.stops then
            return -1
        end
        local fewest
        for _, asker in ipairs(job.askers) do
            if not counts[asker] then
                counts[asker] = tonumber(call('HGET', P .. 'leased', asker) or '0')
            end
            if not fewest or counts[asker] < fewest then
                fewest = counts[asker]
            end
        end
        return fewest or 0
    end
    local function best()
        local found, least
        for _, job in ipairs(pool) do
            if job.next <= #job.numbers then
                local score = leases(job) * LEASES + job.rest
                if not found or score < least then
                    found, least = job, score
                end
            end
        end
        return found, least
    end
    while #lines < most do
        local job, least = best()
        local next = call('ZRANGE', P .. 'ready', read, read, 'WITHSCORES')
        while next[1] and (not job or tonumber(next[2]) < least) do
            local its = of(next[1], 'run', 'stage', 'state')
            pool[#pool + 1] = {
                key = next[1], run = its[1], stage = its[2], stops = its[3] == 'stopping',
                askers = askers(next[1]), rest = tonumber(next[2]) % LEASES, next = 1,
                numbers = call('ZRANGE', P .. 'open:' .. next[1], 0, most - 1)
            }
            read = read + 1
            job, least = best()
            next = call('ZRANGE', P .. 'ready', read, read, 'WITHSCORES')
        end
        if not job then
            break
        end
        local number = job.numbers[job.next]
        job.next = job.next + 1
        for _, asker in ipairs(job.askers) do
            counts[asker] = (counts[asker] or 0) + 1
        end
        local epoch = call('HGET', P .. 'shards:' .. job.key, 'e:' .. number) or '0'
        lines[#lines + 1] = {job.key, job.run, job.stage, number, epoch}
    end
    return lines
end

function commands.figures()
    call('ZREMRANGEBYSCORE', P .. 'workers', '-inf', now)
    local oldest = call('ZRANGE', P .. 'waits', 0, 0, 'WITHSCORES')[2]
    local counters = call('HMGET', P .. 'counters', 'lapsed', 'failed')
    return {
        call('SCARD', P .. 'jobs'), call('ZCARD', P .. 'waits'), call('ZCARD', P .. 'leases'),
        oldest and now - tonumber(oldest) or 0, call('ZCARD', P .. 'workers'),
        tonumber(counters[1] or '0'), tonumber(counters[2] or '0')
    }
end

lapse()
return commands[ARGV[1]](unpack(ARGV, 5, math.min(#ARGV, 20)))
